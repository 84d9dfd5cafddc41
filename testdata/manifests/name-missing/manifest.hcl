clips "disk" {
  files = ["clips/*.ser"]
}
stack {
  clips = clips.disk
}
publish "o" {
  image = stack.p
  file  = "disk.png"
}

stack "p" {
  clips = clips.disk
}
clips "disk" {
  files = ["clips/*.ser"]
}
publish "o" {
  image = stack.p
  file  = "disk.png"
}

clips "disk" {
  files = ["clips/*.ser"]
}
stak "p" {
  clips = clips.disk
}
publish "o" {
  image = stack.p
  file  = "disk.png"
}

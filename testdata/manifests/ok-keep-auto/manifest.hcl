clips "disk" {
  files = ["clips/*.ser"]
}
stack "p" {
  clips = clips.disk
  keep  = "auto"
}
publish "o" {
  image = stack.p
  file  = "disk.png"
}

clips "disk" {
  files = ["clips/*.ser"]
}
stack "p" {
  clips = clips.dsk
}
publish "o" {
  image = stack.p
  file  = "disk.png"
}

clips "disk" {
  files = ["clips/*.ser"]
  byte_order = "lttle"
}
stack "p" {
  clips = clips.disk
}
publish "o" {
  image = stack.p
  file  = "disk.png"
}

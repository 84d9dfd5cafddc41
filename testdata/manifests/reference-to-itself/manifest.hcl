clips "disk" {
  files = ["clips/*.ser"]
}
stack "p" {
  clips = clips.disk
}
detail "d" {
  image = detail.d
}
publish "o" {
  image = stack.p
  file  = "disk.png"
}

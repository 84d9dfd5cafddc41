clips "disk" {
  files = ["clips/*.ser"]
}
stack "p" {
  clips = clips.disk
  kep   = 0.3
}
publish "o" {
  image = stack.p
  file  = "disk.png"
}

clips "disk" {
  files = ["clips/*.ser"]
}
stack "p/q" {
  clips = clips.disk
}
publish "o" {
  image = stack.p
  file  = "disk.png"
}

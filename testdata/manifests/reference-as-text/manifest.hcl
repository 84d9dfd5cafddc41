clips "disk" {
  files = ["clips/*.ser"]
}
stack "p" {
  clips = "disk"
}
publish "o" {
  image = stack.p
  file  = "disk.png"
}

clips "disk" {
  files = ["clips/*.ser"]
}
stack "p" {
  clips = clips.disk
  edge_px = true ? 1 : 2
}
publish "o" {
  image = stack.p
  file  = "disk.png"
}

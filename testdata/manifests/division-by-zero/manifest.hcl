clips "disk" {
  files = ["clips/*.ser"]
}
stack "p" {
  clips = clips.disk
  edge_px = 1 / 0
}
publish "o" {
  image = stack.p
  file  = "disk.png"
}

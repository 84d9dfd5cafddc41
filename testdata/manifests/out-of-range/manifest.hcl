clips "disk" {
  files = ["clips/*.ser"]
}
stack "p" {
  clips = clips.disk
  edge_px = 65
  keep = 30
}
publish "o" {
  image = stack.p
  file  = "disk.png"
}

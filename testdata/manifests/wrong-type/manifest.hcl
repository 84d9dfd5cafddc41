clips "disk" {
  files = ["clips/*.ser"]
}
stack "p" {
  clips = clips.disk
  edge_px = "wide"
  whole = 1
}
publish "o" {
  image = stack.p
  file  = "disk.png"
}

settings {
  turns = [1, 1e300 * 1e300]
}
clips "disk" {
  files = ["a/*.ser"]
}
stack "p" {
  clips     = clips.disk
  edge_px   = 1 / 0 - 1 / 0
  turns_deg = settings.turns
}
publish "o" {
  image = stack.p
  file  = "x.png"
}

settings {
  where = ["a/*.ser", "b/*.ser"]
  turns = [1, -0]
}
clips "disk" {
  files = settings.where
}
stack "p" {
  clips     = clips.disk
  turns_deg = settings.turns
  edge_px   = -0
}
publish "o" {
  image = stack.p
  file  = "x.png"
}

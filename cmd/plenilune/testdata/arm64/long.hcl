# A clip of more frames than are worked on at once, for itself.
night {}

clips "disk" {
  files = ["clips/*.ser"]
}

stack "panels" {
  clips = clips.disk
  keep  = 1
}

publish "out" {
  picture {
    image = stack.panels
    file  = "panel.tif"
    depth = "float32"
  }
}

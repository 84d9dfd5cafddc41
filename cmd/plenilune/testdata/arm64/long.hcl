# A clip of more frames than are worked on at once, and one of pictures, each for itself.
night {}

clips "disk" {
  files = ["clips/*.ser"]
}

clips "pictures" {
  sequences = ["pictures/*/"]
}

stack "panels" {
  clips = clips.disk
  keep  = 1
}

stack "pictures" {
  clips = clips.pictures
  keep  = 1
}

publish "out" {
  panels {
    stack  = stack.panels
    folder = "panels"
  }
  picture {
    image = stack.pictures
    file  = "panel.tif"
    depth = "float32"
  }
}

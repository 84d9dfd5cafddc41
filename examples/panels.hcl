# No disk: each panel for itself, as a 16-bit picture and as linear float32.
night {
  title = "Single panels"
}

clips "all" {
  files = ["clips/*.ser"]
}

stack "panels" {
  clips = clips.all
  keep  = 0.3
}

detail "crisp" {
  image = stack.panels
}

finish "print" {
  image       = detail.crisp
  shadow_lift = 0.5
}

publish "out" {
  picture {
    image = stack.panels
    file  = "linear/panel.tif"
    depth = "float32"
  }
  picture {
    image = finish.print
    file  = "panel.png"
  }
}

# A colour camera of 12 bits, drawn finer than its pixels.
night {}

master "dark" {
  files = ["dark/*.ser"]
}

master "flat" {
  files = ["flat/*.ser"]
}

clips "disk" {
  files   = ["clips/*.ser"]
  masters = [master.dark, master.flat]
}

stack "panels" {
  clips = clips.disk
  scale = 1.5
}

mosaic "disk" {
  panels = stack.panels
}

detail "crisp" {
  image = mosaic.disk
}

finish "print" {
  image        = detail.crisp
  colour_boost = 3
}

publish "out" {
  picture {
    image = finish.print
    file  = "disk.png"
  }
  picture {
    image = finish.print
    file  = "disk.jpg"
  }
}

# The shortest way to a finished disk; README.md shows this file.
night {
  title = "Gibbous over the dye works"
}

settings {
  keep = 0.5
}

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
  keep  = settings.keep
}

mosaic "disk" {
  panels = stack.panels
}

detail "crisp" {
  image = mosaic.disk

  deconvolve {}

  band "middle" {
    scale_px    = 4
    boost       = 1.2
    floor_sigma = 2
  }
}

finish "print" {
  image = detail.crisp
}

publish "out" {
  picture {
    image = finish.print
    file  = "disk.png"
  }
}

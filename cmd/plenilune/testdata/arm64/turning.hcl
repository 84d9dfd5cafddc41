# A Moon that turns between the clips: panels are carried over the ball, and the whole limb says how wide the blur is.
night {
  mount = "altaz"
  site {
    latitude_deg  = 5
    longitude_deg = -75
  }
}

clips "c" {
  files = ["clips/*.ser"]
}

stack "panels" {
  clips = clips.c
}

mosaic "m" {
  panels = stack.panels
}

detail "crisp" {
  image = mosaic.m
  deconvolve {}
}

publish "out" {
  picture {
    image = detail.crisp
    file  = "disk.tif"
  }
}

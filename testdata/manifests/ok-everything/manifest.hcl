night {
  title = "ok"
  mount = "altaz"
  telescope {
    aperture_mm = 150
  }
  camera {
    pixel_um = 2.9
  }
}
settings {
  keep = 0.3
}
clips "disk" {
  files = ["clips/*.ser"]
}
stack "p" {
  clips = clips.disk
  keep  = settings.keep
}
detail "d" {
  image = stack.p
  deconvolve {
    iterations = 3
  }
  band "fine" {
    scale_arcsec = 1.2
    boost        = 1.6
  }
}
publish "o" {
  image = detail.d
  file  = "disk.png"
}

clips "disk" {
  files = ["clips/*.ser"]
}
stack "p" {
  clips = clips.disk
}
detail "d" {
  image = stack.p
  band "fine" {
    scale_arcsec = 2
    boost = 2
  }
  band "fine" {
    scale_arcsec = 2
    boost = 3
  }
}
publish "o" {
  image = detail.d
  file  = "disk.png"
}

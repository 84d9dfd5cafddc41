clips "disk" {
  files = ["clips/*.ser"]
}
stack "p" {
  clips = clips.disk
}
detail "d" {
  image = stack.p
  band "fine" {
    boost = 2
  }
}
publish "o" {
  image = detail.d
  file  = "disk.png"
}

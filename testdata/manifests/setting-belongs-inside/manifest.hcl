clips "disk" {
  files = ["a/*.ser"]
}
stack "p" {
  clips = clips.disk
}
detail "d" {
  image = stack.p
  boost = 2
}
publish "o" {
  image = detail.d
  file  = "x.png"
}

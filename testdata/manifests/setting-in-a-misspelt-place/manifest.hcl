settings {
  keep = 0.3
}
clips "disk" {
  files = ["a/*.ser"]
}
stack "p" {
  clips = clips.disk
  kep   = settings.keep
}
publish "o" {
  image = stack.p
  file  = "x.png"
}

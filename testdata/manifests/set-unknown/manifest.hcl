# --set kepe=0.4
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
publish "o" {
  image = stack.p
  file  = "disk.png"
}

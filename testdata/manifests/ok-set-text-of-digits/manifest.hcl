# --set title=2026
settings {
  title = "a night"
}
night {
  title = settings.title
}
clips "disk" {
  files = ["a/*.ser"]
}
stack "p" {
  clips = clips.disk
}
publish "o" {
  image = stack.p
  file  = "x.png"
}

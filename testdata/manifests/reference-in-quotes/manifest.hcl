clips "disk" {
  files = ["a/*.ser"]
}
stack "p" {
  clips = "clips.disk"
}
publish "o" {
  image = stack.p
  file  = "x.png"
}

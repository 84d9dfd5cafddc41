clips "1" {
  files = ["a/*.ser"]
}
stack "p" {
  clips = clips.1
}
publish "o" {
  image = stack.p
  file  = "x.png"
}

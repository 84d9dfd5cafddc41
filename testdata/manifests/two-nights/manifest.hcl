night {
}
night {
}
clips "disk" {
  files = ["clips/*.ser"]
}
stack "p" {
  clips = clips.disk
}
publish "o" {
  image = stack.p
  file  = "disk.png"
}

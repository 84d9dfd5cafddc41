master "d" {
  files = ["d/*.ser"]
}
clips "disk" {
  files   = ["a/*.ser"]
  masters = [master.d, master.d]
}
stack "p" {
  clips = clips.disk
}
publish "o" {
  image = stack.p
  file  = "x.png"
}

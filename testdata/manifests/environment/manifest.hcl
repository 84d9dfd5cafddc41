clips "disk" {
  files = ["clips/*.ser"]
}
stack "p" {
  clips = clips.disk
  keep = env.KEEP
}
publish "o" {
  image = stack.p
  file  = "disk.png"
}

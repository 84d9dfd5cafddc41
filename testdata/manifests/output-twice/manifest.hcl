clips "disk" {
  files = ["clips/*.ser"]
}
stack "p" {
  clips = clips.disk
}
publish "a" {
  image = stack.p
  file  = "disk.png"
}
publish "b" {
  image = stack.p
  file  = "disk.png"
}
publish "c" {
  image = stack.p
  file  = "a/../Disk.PNG"
}
publish "d" {
  image = stack.p
  file  = "disk.png.tif"
}

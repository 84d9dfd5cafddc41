clips "disk" {
  files  = ["", "a/[.ser", "a/**.ser", "b/**/*.ser"]
  except = ["c[", "ok.ser"]
}
stack "p" {
  clips = clips.disk
}
publish "o" {
  image = stack.p
  file  = "x.png"
}

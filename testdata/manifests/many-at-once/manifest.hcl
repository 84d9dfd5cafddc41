night {
  titel = "x"
}
stack "p" {
  clips = clips.disk
  keep  = 3
}
mosiac "m" {
}
publish "o" {
  image = stack.q
  file  = 7
}

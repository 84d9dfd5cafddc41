# A film that FFmpeg reads, which is the machine's own on either side.
night {}

clips "film" {
  files    = ["films/*.mkv"]
  encoding = "linear"
}

stack "panels" {
  clips = clips.film
  keep  = 1
}

publish "out" {
  picture {
    image = stack.panels
    file  = "panel.tif"
    depth = "float32"
  }
}

clips "disk" {
  files = ["clips/*.ser"]
}
stack "p" {
  clips = clips.disk # 月のクリップ
	keep  = "満月" # 月
}
publish "o" {
  image = stack.p
  file  = "disk.png"
}

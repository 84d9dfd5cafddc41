night {
	titel = "月" # [31m ‮
}
clips "disk" {
	files = ["a"]
}
stack "p" {
	clips = clips.disk
}
publish "o" {
	image = stack.p
	file = "x"
}

package lanes

import "golang.org/x/sys/cpu"

//go:generate go run ./gen -out lanes_amd64.s -stubs stubs_amd64.go -pkg lanes

var fast = cpu.X86.HasAVX2

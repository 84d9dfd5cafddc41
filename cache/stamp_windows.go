package cache

// extra returns zeros: Windows tells size and modification time in 100 ns steps
// for any file without opening it, a file's number only to who opens it.
func extra(string) (inode, ctime uint64) { return 0, 0 }

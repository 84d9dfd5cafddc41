package pipeline

import "sync"

// Keep lets the reader remember what it read last: so many rows of tiles, and as many
// tiles more as are in work at once. With 0 rows it suits one channel read after the
// other, with 3 rectangles of tiles that reach into their neighbours. It is to be
// called before the first reading.
func (p *PlaneReader) Keep(rows int) {
	p.kept = &keptTiles{most: rows*p.across() + tileBatch, byIndex: map[int]*keptTile{}}
}

func (p *PlaneReader) tile(i int) ([]byte, error) {
	if p.kept == nil {
		return p.blob.Chunk(i)
	}
	return p.kept.get(i, p.blob.Chunk)
}

// keptTiles are the tiles read last; safe for concurrent use.
type keptTiles struct {
	mu      sync.Mutex
	most    int
	byIndex map[int]*keptTile
	order   []int // of reading, the oldest first
}

// keptTile is read once, by the first that wants it.
type keptTile struct {
	once sync.Once
	b    []byte
	err  error
}

func (k *keptTiles) get(i int, read func(int) ([]byte, error)) ([]byte, error) {
	k.mu.Lock()
	t, ok := k.byIndex[i]
	if !ok {
		t = &keptTile{}
		k.byIndex[i] = t
		if k.order = append(k.order, i); len(k.order) > k.most {
			delete(k.byIndex, k.order[0])
			k.order = k.order[1:]
		}
	}
	k.mu.Unlock()
	t.once.Do(func() { t.b, t.err = read(i) })
	return t.b, t.err
}

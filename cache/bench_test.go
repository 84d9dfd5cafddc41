package cache

import (
	"fmt"
	"testing"
)

// BenchmarkColdRun is 300 parts of a run: a table and an action each.
func BenchmarkColdRun(b *testing.B) {
	for n := range b.N {
		b.StopTimer()
		c, _ := open(b, b.TempDir())
		b.StartTimer()
		for i := range 300 {
			putAction(b, c, fmt.Sprint("action ", i), put(b, c, noise(uint64(1000*n+i), 4000)))
		}
		closed(b, c)
	}
	b.ReportMetric(float64(b.Elapsed().Milliseconds())/float64(b.N), "ms/run")
}

func BenchmarkPutSmall(b *testing.B) {
	c, _ := open(b, b.TempDir())
	for n := range b.N {
		put(b, c, fmt.Append(nil, "a small value, number ", n))
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "puts/s")
}

// BenchmarkOpenWarm opens and closes a cache with 1,000 actions and values.
func BenchmarkOpenWarm(b *testing.B) {
	dir := b.TempDir()
	c, _ := open(b, dir)
	for i := range 1000 {
		putAction(b, c, fmt.Sprint("action ", i), put(b, c, noise(uint64(i), 4000)))
	}
	closed(b, c)
	b.ResetTimer()
	for range b.N {
		c, _ := open(b, dir)
		b.StopTimer()
		closed(b, c)
		b.StartTimer()
	}
}

// BenchmarkHits is a run that changes nothing: open, 300 hits with their values, close.
func BenchmarkHits(b *testing.B) {
	dir := b.TempDir()
	c, _ := open(b, dir)
	keys := make([]ID, 300)
	for i := range keys {
		keys[i] = putAction(b, c, fmt.Sprint("action ", i), put(b, c, noise(uint64(i), 4000)))
	}
	closed(b, c)
	b.ResetTimer()
	for range b.N {
		c, _ := open(b, dir)
		for _, k := range keys {
			e, ok := c.Action(k)
			if !ok {
				b.Fatal("a miss")
			}
			if _, err := c.Get(e.Outputs[0].ID); err != nil {
				b.Fatal(err)
			}
		}
		closed(b, c)
	}
}

// BenchmarkRebuild makes the index of 1,000 actions and values again.
func BenchmarkRebuild(b *testing.B) {
	dir := b.TempDir()
	c, _ := open(b, dir)
	for i := range 1000 {
		putAction(b, c, fmt.Sprint("action ", i), put(b, c, noise(uint64(i), 20000)))
	}
	closed(b, c)
	b.ResetTimer()
	for range b.N {
		if err := writeState(dir, state{word: stateRebuild}); err != nil {
			b.Fatal(err)
		}
		c, _ := open(b, dir)
		b.StopTimer()
		closed(b, c)
		b.StartTimer()
	}
}

const benchTile = 256 * 256

func BenchmarkBlobIn(b *testing.B) {
	c, _ := open(b, b.TempDir())
	tiles := make([][]byte, 64)
	for i := range tiles {
		tiles[i] = picture(uint64(i), benchTile)
	}
	b.SetBytes(4 * benchTile * int64(len(tiles)))
	b.ResetTimer()
	for n := range b.N {
		putBlob(b, c, fmt.Sprint(n), true, tiles...)
	}
}

func BenchmarkBlobOut(b *testing.B) {
	c, _ := open(b, b.TempDir())
	tiles := make([][]byte, 64)
	for i := range tiles {
		tiles[i] = picture(uint64(i), benchTile)
	}
	id := putBlob(b, c, "", true, tiles...)
	b.SetBytes(4 * benchTile * int64(len(tiles)))
	b.ResetTimer()
	for range b.N {
		r, err := c.OpenBlob(id)
		if err != nil {
			b.Fatal(err)
		}
		for i := range r.Len() {
			if _, err := r.Chunk(i); err != nil {
				b.Fatal(err)
			}
		}
		_ = r.Close()
	}
}

package raw

import "testing"

// TestSampleReadsLittle: a large clip is not read whole.
func TestSampleReadsLittle(t *testing.T) {
	l := Layout{Width: 4096, Height: 2048, Planes: 1, SampleBytes: 2, Pattern: Mono, Offset: 178, Stride: 4096 * 2048 * 2}
	r := &countingReader{}
	e, err := Sample(r, l, 1000)
	if err != nil {
		t.Fatal(err)
	}
	if most := int64(sampleFrames * sampleBands * bandBytes); r.n > most || e.total() == 0 {
		t.Errorf("read %d bytes, at most %d are meant", r.n, most)
	}
	if end := l.Offset + 1000*l.Stride; r.last > end || r.last < end-l.Stride/4 {
		t.Errorf("the last byte read is %d, want the last frame's end %d", r.last, end)
	}
}

type countingReader struct{ n, last int64 }

func (c *countingReader) ReadAt(p []byte, at int64) (int, error) {
	c.n += int64(len(p))
	c.last = max(c.last, at+int64(len(p)))
	return len(p), nil
}

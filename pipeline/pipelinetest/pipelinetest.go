// Package pipelinetest runs single parts in memory, for tests of steps.
package pipelinetest

import (
	"bytes"
	"encoding/json"
	"fmt"
	"slices"
	"sync"
	"testing"

	"plenilune/cache"
	"plenilune/pipeline"
)

// Plane is a picture as an input value: one row-major slice a channel.
type Plane struct {
	W, H int
	Pix  [][]float32
}

// File is a capture as an input value.
type File []byte

// Pictures is a sequence as an input value.
type Pictures [][]byte

// Film is a file on the disk as an input value, which programs may read.
type Film struct {
	Path     string
	Programs pipeline.Programs
}

// Stored names a value that an earlier part left in the same store.
type Stored struct{ ID pipeline.ID }

// Bench is a store with the parts run on it.
type Bench struct {
	Store   pipeline.Store
	Workers int
}

// New returns a bench with an empty store.
func New() *Bench {
	return &Bench{Store: &memory{small: map[pipeline.ID][]byte{}, blobs: map[pipeline.ID]*blob{}}, Workers: 2}
}

// Result is what a part made.
type Result struct {
	pipeline.Outcome
	t     testing.TB
	store pipeline.Store
}

// Run runs a part on a bench of its own. Values are tables (any struct), Plane,
// File, Pictures, Film or Stored.
func Run(t testing.TB, p pipeline.Part, in map[string][]any) *Result {
	t.Helper()
	r, err := New().Run(t, p, in)
	if err != nil {
		t.Fatalf("run part %s: %v", p.Name, err)
	}
	return r
}

// Run runs a part on the bench.
func (b *Bench) Run(t testing.TB, p pipeline.Part, in map[string][]any) (*Result, error) {
	t.Helper()
	ports := make([]string, 0, len(in))
	for port := range in {
		ports = append(ports, port)
	}
	slices.Sort(ports)
	var ins []pipeline.Bound
	for _, port := range ports {
		for _, v := range in[port] {
			bound, err := b.put(t, v)
			if err != nil {
				t.Fatalf("put input %q: %v", port, err)
			}
			bound.Port = port
			ins = append(ins, bound)
		}
	}
	o, err := pipeline.RunAlone(t.Context(), p, ins, b.Store, b.Workers)
	return &Result{o, t, b.Store}, err
}

func (b *Bench) put(t testing.TB, v any) (pipeline.Bound, error) {
	switch v := v.(type) {
	case Plane:
		id, err := pipeline.PutPlaneIn(t.Context(), b.Store, v.W, v.H, v.Pix...)
		return pipeline.Bound{ID: id}, err
	case File:
		return pipeline.Bound{ID: cache.Sum(v), File: v}, nil
	case Pictures:
		return pipeline.Bound{ID: cache.Sum(bytes.Join(v, nil)), Pictures: v}, nil
	case Film:
		return pipeline.Bound{ID: cache.Sum([]byte(v.Path)), Path: v.Path, Programs: v.Programs}, nil
	case Stored:
		return pipeline.Bound{ID: v.ID}, nil
	}
	j, err := json.Marshal(v)
	if err != nil {
		return pipeline.Bound{}, err
	}
	id, err := b.Store.Put(j)
	return pipeline.Bound{ID: id}, err
}

// Stored names an output for a later part on the same bench.
func (r *Result) Stored(port string) Stored { return Stored{r.Outputs[port]} }

// Table decodes an output table into v.
func (r *Result) Table(port string, v any) {
	r.t.Helper()
	b, err := r.store.Get(r.Outputs[port])
	if err == nil {
		err = json.Unmarshal(b, v)
	}
	if err != nil {
		r.t.Fatalf("table %q: %v", port, err)
	}
}

// Plane reads an output plane whole.
func (r *Result) Plane(port string) Plane {
	r.t.Helper()
	w, h, pix, err := pipeline.ReadPlaneFrom(r.store, r.Outputs[port])
	if err != nil {
		r.t.Fatalf("plane %q: %v", port, err)
	}
	return Plane{w, h, pix}
}

// Bytes reads an output made with PutBytes.
func (r *Result) Bytes(port string) []byte {
	r.t.Helper()
	b, err := pipeline.ReadBytesFrom(r.store, r.Outputs[port])
	if err != nil {
		r.t.Fatalf("bytes %q: %v", port, err)
	}
	return b
}

// Warned tells whether a warning of this code was stated.
func (r *Result) Warned(code string) bool {
	return slices.ContainsFunc(r.Warnings, func(w pipeline.Warning) bool { return w.Code == code })
}

// memory is a store without a disk.
type memory struct {
	mu    sync.Mutex
	small map[pipeline.ID][]byte
	blobs map[pipeline.ID]*blob
}

type blob struct {
	head   []byte
	chunks [][]byte
	store  *memory
}

func (m *memory) Put(b []byte) (pipeline.ID, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	id := cache.Sum(b)
	m.small[id] = slices.Clone(b)
	return id, nil
}

func (m *memory) Get(id pipeline.ID) ([]byte, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	b, ok := m.small[id]
	if !ok {
		return nil, fmt.Errorf("no value %s in memory", id.Short())
	}
	return slices.Clone(b), nil
}

func (m *memory) Create(head []byte, _ bool) (pipeline.BlobWriter, error) {
	return blobWriter{&blob{head: slices.Clone(head), store: m}}, nil
}

func (m *memory) Open(id pipeline.ID) (pipeline.BlobReader, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	b, ok := m.blobs[id]
	if !ok {
		return nil, fmt.Errorf("no blob %s in memory", id.Short())
	}
	return b, nil
}

func (b *blob) Chunk(i int) ([]byte, error) { return slices.Clone(b.chunks[i]), nil }
func (b *blob) Head() []byte                { return b.head }
func (b *blob) Len() int                    { return len(b.chunks) }
func (b *blob) Close() error                { return nil }

// blobWriter is the writing side, since both sides have a method Chunk.
type blobWriter struct{ *blob }

func (w blobWriter) Chunk(c []byte) error {
	w.blob.chunks = append(w.blob.chunks, slices.Clone(c))
	return nil
}

func (w blobWriter) Commit() (pipeline.ID, error) {
	all := slices.Clone(w.head)
	for _, c := range w.chunks {
		id := cache.Sum(c)
		all = append(all, id[:]...)
	}
	id := cache.Sum(all)
	w.store.mu.Lock()
	defer w.store.mu.Unlock()
	w.store.blobs[id] = w.blob
	return id, nil
}

func (blobWriter) Abort() {}

package pipeline

import (
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"sync"
	"time"

	"plenilune/cache"
)

// rate is how the parts of one kind compare with their cost: 1 is as expected.
type rate struct {
	Time  float64 `json:"time"`
	Cache float64 `json:"cache"`
	File  float64 `json:"file"`
	Runs  int     `json:"runs"`
}

// rates is what earlier runs with this cache took. It is kept as a note, which no
// key and no output depends on.
type rates struct {
	Layout int             `json:"layout"`
	All    rate            `json:"all"`
	Kinds  map[string]rate `json:"kinds"`
}

const (
	ratesNote   = "pace"
	ratesLayout = 2
)

func loadRates(c *cache.Cache) rates {
	var r rates
	if b, ok := c.Note(ratesNote); !ok || json.Unmarshal(b, &r) != nil || r.Layout != ratesLayout || r.Kinds == nil {
		return rates{Layout: ratesLayout, All: rate{Time: 1, Cache: 1, File: 1}, Kinds: map[string]rate{}}
	}
	return r
}

// of returns the rate of a kind, or that of all kinds together.
func (r rates) of(kind string) rate {
	if k, ok := r.Kinds[kind]; ok {
		return k
	}
	return r.All
}

// spent is what parts took, and what they cost by the figures.
type spent struct{ took, cost Cost }

func (s *spent) add(took, cost Cost) {
	s.took.Seconds += took.Seconds
	s.took.Cache += took.Cache
	s.took.File += took.File
	s.cost.Seconds += cost.Seconds
	s.cost.Cache += cost.Cache
	s.cost.File += cost.File
}

// learn takes in a run's experience: half old, half new, so that it follows a
// machine that changes and one odd run does little.
func (r rate) learn(s spent) rate {
	blend := func(old, took, cost float64) float64 {
		if took <= 0 || cost <= 0 {
			return old
		}
		now := min(max(took/cost, 1e-3), 1e3)
		if r.Runs == 0 {
			return now
		}
		return math.Sqrt(old * now)
	}
	r.Time = blend(r.Time, s.took.Seconds, s.cost.Seconds)
	r.Cache = blend(r.Cache, s.took.Cache, s.cost.Cache)
	r.File = blend(r.File, s.took.File, s.cost.File)
	r.Runs++
	return r
}

// saveRates keeps what the parts of this run took.
func (g *graph) saveRates(outDir string) error {
	e := g.exec
	if e.costs == nil {
		return nil
	}
	files := map[*node]int64{}
	for _, d := range g.deliveries {
		if d.Folder != nil { // each of its parts by what it gave to it
			for _, v := range d.streams() {
				if v.node != nil && v.node.outs != nil {
					files[v.node] = g.cache.SizeOf(v.node.outs[v.port])
				}
			}
			continue
		}
		if st, err := os.Stat(filepath.Join(outDir, filepath.FromSlash(d.File))); err == nil {
			files[d.Encoded.node] = st.Size()
		}
	}
	kinds := map[string]*spent{}
	var all spent
	for _, n := range g.nodes {
		if n.state != Ran || n.busy == 0 {
			continue
		}
		took := Cost{Seconds: n.busy, Cache: float64(n.bytes), File: float64(files[n])}
		cost := e.costs.Cost(kindOf(n), g.of(n))
		if kinds[kindOf(n)] == nil {
			kinds[kindOf(n)] = &spent{}
		}
		kinds[kindOf(n)].add(took, cost)
		all.add(took, cost)
	}
	if len(kinds) == 0 {
		return nil
	}
	machine := (e.machine + slowness(e.jobs)) / 2
	r := e.rates
	all.took.Seconds /= machine
	r.All = r.All.learn(all)
	for k, s := range kinds {
		s.took.Seconds /= machine
		old, ok := r.Kinds[k]
		if !ok {
			old = rate{Time: r.All.Time, Cache: 1, File: 1}
		}
		r.Kinds[k] = old.learn(*s)
	}
	b, err := json.Marshal(r)
	if err != nil {
		return err
	}
	return g.cache.SetNote(ratesNote, b)
}

const (
	spinLength = 1 << 15
	spinRounds = 160
	// spinSeconds is what one spin took where the figures were measured, undisturbed.
	spinSeconds = 9.2e-3
)

// slowness measures how much longer this machine takes now, with so many workers,
// than the one that the figures were measured on: it differs, and others may be
// using it.
func slowness(workers int) float64 {
	took := make([]float64, workers)
	var wg sync.WaitGroup
	for k := range took {
		wg.Go(func() {
			v := make([]float32, spinLength)
			for i := range v {
				v[i] = float32(i%97) / 97
			}
			began := time.Now()
			for range spinRounds {
				spin(v)
			}
			took[k] = time.Since(began).Seconds()
		})
	}
	wg.Wait()
	sum := 0.0
	for _, t := range took {
		sum += t
	}
	return min(max(sum/float64(workers)/spinSeconds, 0.05), 50)
}

// spin is work like that of the steps: a pass over samples.
func spin(v []float32) {
	last := v[0]
	for i, x := range v {
		last = float32(0.9*last) + float32(0.1*x)
		v[i] = last
	}
}

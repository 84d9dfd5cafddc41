package pipeline

import "time"

// trust is the share of the forecast's work after which what the run itself took
// counts as much as the forecast does.
const trust = 0.1

// ahead sums up work, in seconds of workers.
type ahead struct{ shared, alone float64 }

func (a *ahead) add(c Cost, one bool, jobs int, share float64) {
	if one {
		a.shared += float64(c.Seconds * share)
	} else {
		a.alone += float64(c.Seconds * (1 - c.Parallel + c.Parallel/float64(jobs)) * share)
	}
}

func (a ahead) seconds(jobs int) float64 { return a.shared/float64(jobs) + a.alone }

// progressNow sums up the graph as it stands, and what the forecast says of
// blocks that are not cut yet.
func (g *graph) progressNow() ProgressEvent {
	g.mu.Lock()
	nodes := g.nodes
	g.mu.Unlock()
	jobs := g.exec.jobs
	var p ProgressEvent
	var done, left ahead
	var took, meant float64 // by what ran, in seconds of workers
	there := map[Ref]guessed{}
	for _, n := range nodes {
		if !n.asked.Load() {
			continue
		}
		c, one := g.exec.expected(kindOf(n), g.of(n)), !n.part.Item.ID.IsZero()
		var all ahead
		all.add(c, one, jobs, 1)
		b := there[n.block]
		there[n.block] = guessed{b.parts + 1, b.shared + all.shared, b.alone + all.alone}
		p.Known++
		select {
		case <-n.done:
			p.Parts++
			if n.state == Ran && n.busy > 0 {
				took, meant = took+n.busy, meant+c.Seconds
				done.add(c, one, jobs, 1)
			}
			continue
		default:
		}
		n.mu.Lock()
		began, share := n.began, n.progress
		n.mu.Unlock()
		if !began.IsZero() {
			p.Working = append(p.Working, g.display(n))
			if share == 0 && c.Seconds > 0 { // some parts do not say how far they are
				share = min(time.Since(began).Seconds()/c.Seconds, 0.9)
			}
		}
		done.add(c, one, jobs, share)
		left.add(c, one, jobs, 1-share)
	}
	g.addGuesses(&p, &left, there)
	total := done.seconds(jobs) + left.seconds(jobs)
	if total > 0 {
		p.Done = done.seconds(jobs) / total
	}
	p.SecondsLeft = g.secondsLeft(left, took, meant, total)
	return p
}

// addGuesses adds what is expected of blocks beyond the parts that are there.
func (g *graph) addGuesses(p *ProgressEvent, left *ahead, there map[Ref]guessed) {
	if g.foreseen == nil {
		return
	}
	for ref, want := range g.foreseen.blocks {
		select {
		case <-g.blocks[ref].expanded:
			continue
		default:
		}
		is := there[ref]
		p.Known += max(want.parts-is.parts, 0)
		left.shared += max(want.shared-is.shared, 0)
		left.alone += max(want.alone-is.alone, 0)
	}
}

// secondsLeft corrects the work left by what the run took so far.
func (g *graph) secondsLeft(left ahead, took, meant, total float64) float64 {
	if g.foreseen == nil && meant == 0 {
		return -1
	}
	prior := 0.0
	if g.foreseen != nil {
		prior = trust * total * float64(g.exec.jobs)
	}
	if meant+prior == 0 {
		return 0
	}
	return left.seconds(g.exec.jobs) * (took + prior) / (meant + prior)
}

package cache

import (
	"bufio"
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

const childEnv = "PLENILUNE_CACHE_CHILD"

// TestMain runs the test binary as a second process when a test asks for one.
func TestMain(m *testing.M) {
	job, dir, _ := strings.Cut(os.Getenv(childEnv), "=")
	switch job {
	case "write":
		childWrites(dir)
	case "hold":
		childHolds(dir)
	default:
		os.Exit(m.Run())
	}
}

func must[T any](v T, err error) T {
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	return v
}

// childWrites stores things until it is killed, and tells of each when it is stored.
func childWrites(dir string) {
	c := must(Open(context.Background(), dir, Options{}))
	seed := rand.Uint64()
	for i := uint64(0); ; i++ {
		v := must(c.Put(noise(seed+i, 10+int(i%7)*3000)))
		fmt.Println("value", v)
		outs := []Output{{"v", v}}
		if i%8 == 0 {
			w := must(c.Create([]byte(fmt.Sprint(seed, i)), true))
			for range 1 + i%3 {
				if err := w.Chunk(picture(seed+i, 20000)); err != nil {
					os.Exit(1)
				}
			}
			id := must(w.Commit())
			fmt.Println("blob", id)
			outs = append(outs, Output{"b", id})
		}
		fmt.Println("action", must(c.PutAction(Entry{Text: fmt.Append(nil, seed, i), Outputs: outs})))
		if err := c.SetNote("count", fmt.Append(nil, i)); err != nil {
			os.Exit(1)
		}
	}
}

// childHolds keeps the lock until its input ends.
func childHolds(dir string) {
	c := must(Open(context.Background(), dir, Options{}))
	fmt.Println("open")
	_, _ = io.Copy(io.Discard, os.Stdin)
	if c.Close() != nil {
		os.Exit(1)
	}
}

func child(t *testing.T, job, dir string) *exec.Cmd {
	t.Helper()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(self)
	cmd.Env = append(os.Environ(), childEnv+"="+job+"="+dir)
	cmd.Stderr = os.Stderr
	return cmd
}

// firstWrite tells when something was written for the first time.
type firstWrite struct {
	buf  bytes.Buffer // not embedded: its ReadFrom would go past Write
	once sync.Once
	seen chan struct{}
}

func (w *firstWrite) Write(b []byte) (int, error) {
	w.once.Do(func() { close(w.seen) })
	return w.buf.Write(b)
}

func TestKilledAtAnyMomentNothingAcknowledgedIsLost(t *testing.T) {
	dir := t.TempDir()
	r := rand.New(rand.NewPCG(8, 8))
	var acked []string
	for round := range 10 {
		cmd := child(t, "write", dir)
		out := &firstWrite{seen: make(chan struct{})}
		cmd.Stdout = out
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		if round%5 != 0 { // otherwise it may be killed while it opens
			<-out.seen // a busy machine may take long to get there
		}
		time.Sleep(time.Duration(r.IntN(400)) * time.Millisecond)
		if err := cmd.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		_ = cmd.Wait()
		text := out.buf.String()
		acked = append(acked, strings.Split(text[:strings.LastIndex(text, "\n")+1], "\n")...)
		if round%3 == 1 {
			continue // killed twice without an orderly open between
		}
		c, _ := open(t, dir)
		for _, line := range acked {
			confirm(t, c, line)
		}
		noFaults(t, c)
		if left, err := os.ReadDir(filepath.Join(dir, tempDir)); err != nil || len(left) > 0 {
			t.Errorf("left behind: %v %v", left, err)
		}
		closed(t, c)
	}
	if len(acked) < 100 {
		t.Errorf("only %d things were stored: the test shows little", len(acked))
	}
}

// confirm looks for one thing that a child said it had stored.
func confirm(t *testing.T, c *Cache, line string) {
	t.Helper()
	kind, hex, ok := strings.Cut(line, " ")
	if !ok {
		return
	}
	id, err := ParseID(hex)
	if err != nil {
		t.Fatal(err)
	}
	switch kind {
	case "value":
		if _, err := c.Get(id); err != nil {
			t.Errorf("lost: %v", err)
		}
	case "blob":
		if rd, err := c.OpenBlob(id); err != nil {
			t.Errorf("lost: %v", err)
		} else {
			_ = rd.Close()
		}
	case "action":
		if _, ok := c.Action(id); !ok {
			t.Errorf("lost: action %s", id.Short())
		}
	}
}

func TestSecondProcessWaitsOrSaysWhoHoldsTheCache(t *testing.T) {
	dir := t.TempDir()
	cmd := child(t, "hold", dir)
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	defer cmd.Wait()
	defer in.Close()
	if line, err := bufio.NewReader(out).ReadString('\n'); line != "open\n" {
		t.Fatalf("%q %v", line, err)
	}

	holder := fmt.Sprintf("process %d on ", cmd.Process.Pid)
	_, err = Open(context.Background(), dir, Options{NoWait: true})
	if !errors.Is(err, ErrBusy) || !strings.Contains(err.Error(), holder) {
		t.Errorf("without waiting: %v, want ErrBusy with %q", err, holder)
	}

	ctx, cancel := context.WithCancel(context.Background())
	_, err = Open(ctx, dir, Options{OnWait: func(string) { cancel() }})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("called off: %v", err)
	}

	said := 0
	c, err := Open(context.Background(), dir, Options{OnWait: func(who string) {
		said++
		if !strings.HasPrefix(who, holder) {
			t.Errorf("waits for %q, want %q", who, holder)
		}
		_ = in.Close() // now the child ends
	}})
	if err != nil {
		t.Fatal(err)
	}
	if said != 1 {
		t.Errorf("said %d times for whom it waits, want once", said)
	}
	closed(t, c)
}

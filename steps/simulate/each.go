package simulate

import (
	"context"
	"errors"
	"sync"
)

// each calls do(0) … do(n-1), workers at once. What do writes must hang on its
// index alone.
func each(ctx context.Context, workers, n int, do func(i int) error) error {
	return eachWorker(ctx, workers, n, func(_, i int) error { return do(i) })
}

// eachWorker also tells do which worker calls it, for scratch memory.
func eachWorker(ctx context.Context, workers, n int, do func(worker, i int) error) error {
	workers = min(max(workers, 1), n)
	errs := make([]error, workers)
	var wg sync.WaitGroup
	for w := range workers {
		wg.Go(func() {
			for i := w; i < n && errs[w] == nil; i += workers {
				if errs[w] = ctx.Err(); errs[w] == nil {
					errs[w] = do(w, i)
				}
			}
		})
	}
	wg.Wait()
	return errors.Join(errs...)
}

package design

import "context"

// Watch is told when a stage of a run begins and returns the context for what it
// does, and what to call when it ends. Stages may hold others.
type Watch func(ctx context.Context, stage string) (within context.Context, end func())

type watchKey struct{}

// Watched returns a context whose runs tell w of their stages. What is designed
// does not depend on it.
func Watched(ctx context.Context, w Watch) context.Context {
	return context.WithValue(ctx, watchKey{}, w)
}

// stage is a named step of a run.
type stage struct {
	name string
	do   func(context.Context) error
}

// run does the stage, and tells who watches.
func (s stage) run(ctx context.Context) error {
	if watch, ok := ctx.Value(watchKey{}).(Watch); ok {
		var end func()
		ctx, end = watch(ctx, s.name)
		defer end()
	}
	return s.do(ctx)
}

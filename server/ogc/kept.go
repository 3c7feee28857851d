package ogc

import (
	"container/list"
	"context"
	"sync"
)

// kept holds values that take long to make, those used last, until together they
// weigh more than there is room for. Its methods may be called at once from
// several goroutines. It is made by [keep].
type kept[K comparable, V weighty] struct {
	*keeper[K, V]
}

// weighty says how much room it takes, in bytes.
type weighty interface{ weight() int }

type keeper[K comparable, V weighty] struct {
	mu     sync.Mutex
	room   int
	byKey  map[K]*list.Element // of *slot
	recent *list.List          // the last used in front
}

type slot[K comparable, V weighty] struct {
	key   K
	made  chan struct{} // closed when there is a value, or an error
	value V
	err   error
}

func keep[K comparable, V weighty](room int) kept[K, V] {
	return kept[K, V]{&keeper[K, V]{room: room, byKey: map[K]*list.Element{}, recent: list.New()}}
}

// get returns the value of a key, made by the first who asks for it. If that one
// gives up or fails, the next makes it.
func (k *keeper[K, V]) get(ctx context.Context, key K, make func() (V, error)) (V, error) {
	for {
		s, mine := k.slot(key)
		if mine {
			return k.fill(s, make)
		}
		select {
		case <-s.made:
			if s.err == nil {
				return s.value, nil
			}
		case <-ctx.Done():
			return s.value, ctx.Err()
		}
	}
}

// slot finds the place of a key, or makes one that the caller must fill.
func (k *keeper[K, V]) slot(key K) (s *slot[K, V], mine bool) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if e, ok := k.byKey[key]; ok {
		k.recent.MoveToFront(e)
		return e.Value.(*slot[K, V]), false
	}
	s = &slot[K, V]{key: key, made: make(chan struct{})}
	k.byKey[key] = k.recent.PushFront(s)
	return s, true
}

func (k *keeper[K, V]) fill(s *slot[K, V], make func() (V, error)) (V, error) {
	s.err = errPanic // unless make returns
	defer func() {
		k.mu.Lock()
		defer k.mu.Unlock()
		if s.err != nil {
			k.drop(k.byKey[s.key])
		} else {
			k.room -= s.value.weight()
		}
		close(s.made)
		k.shrink(s)
	}()
	s.value, s.err = make()
	return s.value, s.err
}

// shrink lets go of what was not used for longest, but not of the latest.
func (k *keeper[K, V]) shrink(latest *slot[K, V]) {
	for e := k.recent.Back(); e != nil && k.room < 0; {
		s, before := e.Value.(*slot[K, V]), e.Prev()
		select {
		case <-s.made:
			if s != latest {
				k.room += s.value.weight()
				k.drop(e)
			}
		default: // being made
		}
		e = before
	}
}

func (k *keeper[K, V]) drop(e *list.Element) {
	delete(k.byKey, e.Value.(*slot[K, V]).key)
	k.recent.Remove(e)
}

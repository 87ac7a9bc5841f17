package store

import "sync"

// hub wakes those who follow the writes. A signal says only that there is
// something new; who was slow gets one signal for many.
type hub struct {
	mu   sync.Mutex
	subs map[chan struct{}]bool
}

func (h *hub) subscribe() (<-chan struct{}, func()) {
	ch := make(chan struct{}, 1)
	h.mu.Lock()
	defer h.mu.Unlock()
	if h.subs == nil {
		h.subs = map[chan struct{}]bool{}
	}
	h.subs[ch] = true
	return ch, func() {
		h.mu.Lock()
		defer h.mu.Unlock()
		delete(h.subs, ch)
	}
}

func (h *hub) wake() {
	h.mu.Lock()
	defer h.mu.Unlock()
	for ch := range h.subs {
		select {
		case ch <- struct{}{}:
		default:
		}
	}
}

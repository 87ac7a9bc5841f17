package access

import (
	"sync"
	"time"

	"ullage/internal/lab"
)

// limiter makes each wrong try after the first few wait longer. It counts by
// name with address, by name, and by address, so that neither one account nor
// one address can be tried through. It forgets at a restart; of several servers
// on one database each counts for itself.
type limiter struct {
	mu    *sync.Mutex
	tries map[string]*tries
}

type tries struct {
	wrong int
	until time.Time
	last  time.Time
}

const (
	longestWait = 15 * time.Minute
	forgetAfter = 2 * time.Hour
	mostKeys    = 20000
)

func newLimiter() limiter { return limiter{&sync.Mutex{}, map[string]*tries{}} }

// counted is one thing that is counted, and how many wrong tries are free.
type counted struct {
	key  string
	free int
}

func byNameAndAddress(name, addr string) []counted {
	return []counted{{"both " + name + " " + addr, 5}, {"name " + name, 30}, {"addr " + addr, 60}}
}

// start books a try as wrong before it is made, so that many at once cannot all
// slip through; right takes it back. It is refused while one has to wait.
func (l *limiter) start(now time.Time, of []counted) error {
	l.mu.Lock()
	defer l.mu.Unlock()
	for _, c := range of {
		if t := l.tries[c.key]; t != nil && now.Before(t.until) {
			wait := t.until.Sub(now).Round(time.Second) + time.Second
			return refuse(lab.TooMany, "session", nil, "was tried wrongly too often", "wait "+wait.String()+", then try again")
		}
	}
	if len(l.tries) > mostKeys {
		for k, t := range l.tries {
			if now.Sub(t.last) > forgetAfter || len(l.tries) > 2*mostKeys {
				delete(l.tries, k)
			}
		}
	}
	for _, c := range of {
		t := l.tries[c.key]
		if t == nil || now.Sub(t.last) > forgetAfter {
			t = &tries{}
			l.tries[c.key] = t
		}
		t.wrong++
		t.last = now
		if over := t.wrong - c.free; over >= 0 {
			t.until = now.Add(min(longestWait, 5*time.Second<<min(over, 10)))
		}
	}
	return nil
}

// right forgets a try that succeeded: all of its name, one of its address.
func (l *limiter) right(of []counted) {
	l.mu.Lock()
	defer l.mu.Unlock()
	for i, c := range of {
		t := l.tries[c.key]
		if t == nil {
			continue
		}
		if i == 0 {
			delete(l.tries, c.key)
			continue
		}
		if t.wrong--; t.wrong < c.free {
			t.until = time.Time{}
		}
	}
}

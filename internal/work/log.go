package work

import (
	"context"
	"log/slog"
	"sync"
	"time"
)

// sparing is a log handler that tells the same message once in a while. River
// says at every look at a database that is away that it is away.
type sparing struct {
	slog.Handler
	told *told
}

type told struct {
	mu sync.Mutex
	at map[string]time.Time
}

// while is how long the same message is not told again.
const while = time.Minute

func spare(l *slog.Logger) *slog.Logger {
	return slog.New(sparing{l.Handler(), &told{at: map[string]time.Time{}}})
}

func (s sparing) Enabled(ctx context.Context, l slog.Level) bool {
	return l >= slog.LevelWarn && s.Handler.Enabled(ctx, l)
}

func (s sparing) Handle(ctx context.Context, r slog.Record) error {
	s.told.mu.Lock()
	before, ok := s.told.at[r.Message]
	again := ok && r.Time.Sub(before) < while
	if !again {
		s.told.at[r.Message] = r.Time // River's messages are some dozens
	}
	s.told.mu.Unlock()
	if again {
		return nil
	}
	return s.Handler.Handle(ctx, r)
}

func (s sparing) WithAttrs(a []slog.Attr) slog.Handler {
	return sparing{s.Handler.WithAttrs(a), s.told}
}
func (s sparing) WithGroup(name string) slog.Handler {
	return sparing{s.Handler.WithGroup(name), s.told}
}

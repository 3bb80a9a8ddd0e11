package server

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/labstack/echo/v4"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/web"
)

// previewStore works out what changes would do.
type previewStore interface {
	Preview(ctx context.Context, now time.Time, by register.Actor, cmds ...register.Command) (register.Preview, error)
}

// previewView is what changes would do to the dates, in words, as the partial
// "preview" shows it inside the form that asks for them. Its Key goes back with
// the form and stands for what was shown.
type previewView struct {
	Key     string
	Says    []string // such as 12 dates move earlier
	Note    string   // how much of what is touched was looked at
	Nothing bool     // no date moves, and all were looked at
	Moves   []moveView
	Open    bool // the moves are few enough to be seen at once
	More    int  // moves not shown
}

// moveView is one date that moves.
type moveView struct {
	register.Move
	By string // how far, in words
}

// shownMoves is how many moves a page shows, the largest; up to openMoves are
// not folded.
const shownMoves, openMoves = 20, 4

// preview says what commands would do to the dates. It is nil where the form
// comes from a page that showed it for the same commands, and where they touch
// no date: then they can be applied.
func (s *Server) preview(c echo.Context, f *form, cmds ...register.Command) (*previewView, error) {
	key, err := previewKey(cmds)
	if err != nil {
		return nil, err
	}
	if f.raw("previewed") == key {
		return nil, nil
	}
	p, err := s.store(c).Preview(c.Request().Context(), s.deps.Now(), s.actor(c), cmds...)
	if err != nil {
		return nil, err
	}
	if view := previewOf(p, key); !view.Nothing {
		return view, nil
	}
	return nil, nil
}

// previewKey stands for commands: the same ones have the same key.
func previewKey(cmds []register.Command) (string, error) {
	h := sha256.New()
	for _, cmd := range cmds {
		b, err := json.Marshal(cmd)
		if err != nil {
			return "", fmt.Errorf("write %T down: %w", cmd, err)
		}
		fmt.Fprintf(h, "%T %s\n", cmd, b)
	}
	return hex.EncodeToString(h.Sum(nil)[:12]), nil
}

func previewOf(p register.Preview, key string) *previewView {
	v := &previewView{Key: key}
	say := func(n int, one, many string) {
		if n > 0 {
			v.Says = append(v.Says, web.Count(n, one, many))
		}
	}
	say(p.Earlier, "date moves earlier", "dates move earlier")
	say(p.Later, "date moves later", "dates move later")
	say(p.Overdue, "becomes overdue or stop", "become overdue or stop")
	say(p.Gained, "becomes complete", "become complete")
	say(p.Lost, "becomes incomplete", "become incomplete")
	v.Nothing = len(v.Says) == 0 && p.Seen >= p.Touched
	if p.Same > 0 && len(v.Says) > 0 {
		v.Says = append(v.Says, web.Number(float64(p.Same), 0)+" stay as they are")
	}
	if p.Seen < p.Touched {
		v.Note = fmt.Sprintf("Worked out for %s of the %s whose dates may move.", web.Number(float64(p.Seen), 0), web.Count(p.Touched, "assembly", "assemblies"))
	}
	v.Open = len(p.Moves) <= openMoves
	for i, m := range p.Moves {
		if i == shownMoves {
			v.More = len(p.Moves) - i
			break
		}
		v.Moves = append(v.Moves, moveView{Move: m, By: moved(m.Before, m.After)})
	}
	return v
}

// moved says how far a date moves.
func moved(before, after quantity.Date) string {
	switch {
	case before == after:
		return "same day"
	case before.IsZero():
		return "a date where there was none"
	case after.IsZero():
		return "no date any more"
	case after.Before(before):
		return strings.TrimPrefix(web.Distance(before, after), "in ") + " earlier"
	}
	return strings.TrimPrefix(web.Distance(after, before), "in ") + " later"
}

// errAnew says that somebody changed the row at this very moment, so that the
// handler begins again with the row as it is now.
var errAnew = errors.New("changed by somebody else meanwhile")

// save applies what a form asks for. previewed first shows which dates it
// moves: the view is then to be shown with the form. A refusal goes to the
// field it names by names. Saved is true if everything was applied.
func (s *Server) save(c echo.Context, f *form, how saving, names map[string]string, cmds ...register.Command) (view *previewView, saved bool, err error) {
	if how == previewed && f.ok() {
		if view, err = s.preview(c, f, cmds...); err == nil && (view != nil || f.toTell()) {
			return view, false, nil
		}
	}
	if err == nil {
		if !f.ok() || f.toTell() {
			return nil, false, nil
		}
		if _, err = s.apply(c, cmds...); err == nil {
			return nil, true, nil
		}
	}
	if isConflict(err) && f.edit.on {
		return nil, false, errAnew
	}
	return nil, false, f.refuse(err, names)
}

// saving says whether a form shows what it would do before it does it.
type saving int

const (
	atOnce saving = iota
	previewed
)

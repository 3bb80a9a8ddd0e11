package server

import (
	"crypto/rand"
	"crypto/sha256"
	"net/http"
	"strings"
	"sync"

	"github.com/labstack/echo/v4"

	"hoseward/internal/quantity"
	"hoseward/web"
)

// sentKept is how many forms that were sent are remembered.
const sentKept = 4096

// sent remembers the forms that were sent and where each led, so that one sent
// twice, by an impatient hand or a line that broke, does nothing twice. It is
// kept in memory: a form that is sent again after a restart meets the rules of
// the register, which refuse most of it. Its zero value is ready.
type sent struct {
	mu    sync.Mutex
	forms map[[sha256.Size]byte]*sentForm
	order [][sha256.Size]byte
}

// sentForm is one form with what was typed. It is held while it is carried
// out, so that the second of two sent at once waits for the first.
type sentForm struct {
	mu   sync.Mutex
	next string // where it led; empty while nothing came of it
}

func (s *sent) form(key [sha256.Size]byte) *sentForm {
	s.mu.Lock()
	defer s.mu.Unlock()
	if f, ok := s.forms[key]; ok {
		return f
	}
	f := &sentForm{}
	s.keep(key, f)
	return f
}

// put remembers a form that was carried out, if it was forgotten meanwhile.
func (s *sent) put(key [sha256.Size]byte, f *sentForm) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if _, ok := s.forms[key]; !ok {
		s.keep(key, f)
	}
}

// keep is called with mu held and a key that is not kept.
func (s *sent) keep(key [sha256.Size]byte, f *sentForm) {
	if s.forms == nil {
		s.forms = map[[sha256.Size]byte]*sentForm{}
	}
	if len(s.order) == sentKept {
		delete(s.forms, s.order[0])
		s.order = s.order[1:]
	}
	s.forms[key], s.order = f, append(s.order, key)
}

// forget forgets where forms led. What was done is undone or taken back, so
// that one of them, sent again from an earlier page, means it anew: to say that
// it is done would be untrue.
func (s *sent) forget() {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.forms, s.order = nil, nil
}

// once is the mark of one opening of a form, the same as long as the form is
// shown again. Behind it stands the style the form was printed in.
func (f *form) once() string {
	f.set("once", rand.Text()+onceStyle+styleText(f.style))
	return f.text("once")
}

// onceStyle is between the mark of a form and its style.
const onceStyle = "~"

// styleText is a style as a form sends it back.
func styleText(st web.Style) string {
	return strings.Join([]string{string(st.Pressure), string(st.Temperature), string(st.Length), string(st.Dates)}, onceStyle)
}

// printedStyle is the style in which the page of a form was printed: what it
// said of units at its fields holds for what was typed there, also where the
// person chose others meanwhile. ok is false where the form does not say.
func printedStyle(once string) (st web.Style, ok bool) {
	parts := strings.Split(once, onceStyle)
	if len(parts) != 5 {
		return st, false
	}
	st = web.Style{
		Pressure: quantity.PressureUnit(parts[1]), Temperature: quantity.TemperatureUnit(parts[2]),
		Length: quantity.LengthUnit(parts[3]), Dates: quantity.DateStyle(parts[4]),
	}
	return st.Known(), true
}

// sendOnce carries out a form that was sent, unless the very same one, with
// all that was typed, led somewhere already: then it leads there again. handle
// returns the address to go on to; empty where it showed the form again.
func (s *Server) sendOnce(c echo.Context, f *form, handle func() (next string, err error)) error {
	if f.text("once") == "" {
		next, err := handle()
		return goOn(c, next, err)
	}
	key := sha256.Sum256([]byte(c.Request().URL.RequestURI() + "\n" + f.values.Encode()))
	entry := s.sent.form(key)
	entry.mu.Lock()
	defer entry.mu.Unlock()
	if entry.next != "" {
		return c.Redirect(http.StatusSeeOther, entry.next)
	}
	next, err := handle()
	if err == nil && next != "" {
		entry.next = next
		s.sent.put(key, entry) // an undoing forgets all but itself
	}
	return goOn(c, next, err)
}

func goOn(c echo.Context, next string, err error) error {
	if err != nil || next == "" {
		return err
	}
	return c.Redirect(http.StatusSeeOther, next)
}

// withDone is an address with a word for what was done.
func withDone(path, word string) string {
	if strings.Contains(path, "?") {
		return path + "&done=" + word
	}
	return path + "?done=" + word
}

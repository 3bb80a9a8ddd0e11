package server

import (
	"slices"
	"strconv"
	"time"

	"github.com/labstack/echo/v4"

	"hoseward/internal/register"
)

// actsPage is what a person did and may still undo.
type actsPage struct {
	Base
	Acts []actRow
}

// actRow is one act.
type actRow struct {
	register.Act
	When string
	Undo string // where to undo it
}

// undoPage asks whether an act is to be undone.
type undoPage struct {
	Base
	Problems []problem
	Act      *actRow // nil where it is not to be undone any more
	Action   string
	Once     string
}

// mostActs is how many acts the page shows.
const mostActs = 100

func (s *Server) myActs(c echo.Context) ([]actRow, error) {
	list, err := s.store(c).Acts(c.Request().Context(), s.deps.Now(), s.actor(c).PersonID, mostActs)
	if err != nil {
		return nil, wrap("list what was done", err)
	}
	rows := make([]actRow, len(list))
	for i, a := range list {
		rows[i] = actRow{Act: a, When: actTime(a.At, s.deps.Now(), s.deps.Zone), Undo: actPath(a.ID)}
	}
	return rows, nil
}

func actPath(id int64) string { return "/acts/" + strconv.FormatInt(id, 10) + "/undo" }

// actTime is when something was done: at 14:05, or yesterday at 14:05.
func actTime(at, now time.Time, zone *time.Location) string {
	at, now = at.In(zone), now.In(zone)
	if at.YearDay() == now.YearDay() && at.Year() == now.Year() {
		return "today at " + at.Format("15:04")
	}
	return "yesterday at " + at.Format("15:04")
}

func (s *Server) acts(c echo.Context) error {
	rows, err := s.myActs(c)
	if err != nil {
		return err
	}
	return s.show(c, "acts", actsPage{Base: s.base(c, "acts", "What I did"), Acts: rows})
}

// actID is the number of the act in the path.
func actID(c echo.Context) (int64, error) {
	id, err := strconv.ParseInt(c.Param("id"), 10, 64)
	if err != nil || id <= 0 {
		return 0, echo.ErrNotFound
	}
	return id, nil
}

func (s *Server) askUndo(c echo.Context) error { return s.undoForm(c, s.newForm(c)) }

func (s *Server) undoForm(c echo.Context, f *form) error {
	id, err := actID(c)
	if err != nil {
		return err
	}
	rows, err := s.myActs(c)
	if err != nil {
		return err
	}
	page := undoPage{Base: s.base(c, "acts", "Undo"), Problems: f.Problems, Action: actPath(id), Once: f.once()}
	if i := slices.IndexFunc(rows, func(a actRow) bool { return a.ID == id }); i >= 0 {
		page.Act = &rows[i]
	}
	return s.renderForm(c, f, "undo", page)
}

func (s *Server) undo(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		id, err := actID(c)
		if err != nil {
			return "", err
		}
		result, err := s.store(c).Undo(c.Request().Context(), s.deps.Now(), s.actor(c), id)
		s.nudge(result.Stale)
		if err != nil {
			if err := f.refuse(err, nil); err != nil {
				return "", wrap("undo", err)
			}
			return "", s.undoForm(c, f)
		}
		s.sent.forget()
		return withDone("/acts", undone), nil
	})
}

package server

import (
	"strconv"

	"github.com/labstack/echo/v4"

	"hoseward/internal/register"
)

func usualValues(st shownAs, p register.KindPosition) *form {
	return newForm("name", p.Name, "circuit", p.Circuit, "order", orderText(p.WalkOrder), "hurt", yes(p.CanHurt), "exposed", yes(p.Exposed),
		"length", st.mm(p.LengthMM), "note", p.Note)
}

// orderText is a walking order; none is empty.
func orderText(n int) string {
	if n == 0 {
		return ""
	}
	return strconv.Itoa(n)
}

// usualForm shows the form for a usual position, a new one where p is nil.
func (s *Server) usualForm(c echo.Context, sheet register.KindSheet, p *register.KindPosition, f *form) error {
	page := formPage{
		Base: s.base(c, "kinds", "Add a usual position of "+sheet.Kind.Name), Action: kindPath(sheet, "positions", "new"), Cancel: kindPath(sheet), Button: "Add the position",
		Lead: []string{"A new machine of this kind starts from its usual positions. Machines that are there already keep theirs."},
	}
	if p != nil {
		page.Title, page.Action, page.Button = "Usual position "+p.Name, kindPath(sheet, "positions", strconv.FormatInt(p.ID, 10), "edit"), "Save the position"
		page.Buttons = []formButton{{"take-back", "Take it off the list"}}
	} else {
		page.Buttons = []formButton{{"next", "Add it, then the next one"}}
	}
	page.Groups = []formGroup{{
		Fields: []field{
			f.field("name", "Position").need().hint("Such as lift cylinder, lower left."),
			f.field("circuit", "Circuit").suggest(circuitsOf(sheet)).hint("Such as lift, steering or return."),
			f.field("length", "Length of the assembly").hint(f.style.HintLength()),
			f.field("order", "Place in the walking order").decimal().hint("Empty: last."),
			f.field("note", "Note").lines(2).wide(),
		},
		Ticks: []tick{
			f.tick("hurt", "A burst here can hurt someone"),
			f.tick("exposed", "Exposed to abrasion, flexing, vibration, salt or hot spots").hint("Then it is inspected more often."),
		},
	}}
	return s.showForm(c, f, page)
}

// circuitsOf are the circuits a kind knows, of its duties and positions.
func circuitsOf(sheet register.KindSheet) []string {
	var names []string
	add := func(name string) {
		if name != "" && chosen(names, name) == "" {
			names = append(names, name)
		}
	}
	for _, d := range sheet.Duties {
		add(d.Circuit)
	}
	for _, p := range sheet.Positions {
		add(p.Circuit)
	}
	return names
}

// readUsual reads the form into a usual position.
func readUsual(f *form, p *register.KindPosition) {
	p.Name, p.Circuit, p.Note = f.needed("name", "Give the position a name."), f.text("circuit"), f.text("note")
	p.CanHurt, p.Exposed = f.ticked("hurt"), f.ticked("exposed")
	p.LengthMM = kept(f, "length", p.LengthMM, func() *float64 { return f.length("length", "Length") })
	p.WalkOrder = 0
	if n := f.number("order"); n != nil {
		p.WalkOrder = *n
	}
}

func positionNames() map[string]string {
	return map[string]string{"walk_order": "order", "length_mm": "length", "bend_mm": "bend", "straight_mm": "straight", "position": "name"}
}

func (s *Server) newUsual(c echo.Context) error {
	sheet, err := s.kindOf(c)
	if err != nil {
		return err
	}
	return s.usualForm(c, sheet, nil, s.newForm(c, "circuit", query(c, "circuit")))
}

func (s *Server) addUsual(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		sheet, err := s.kindOf(c)
		if err != nil {
			return "", err
		}
		var p register.KindPosition
		readUsual(f, &p)
		_, saved, err := s.save(c, f, atOnce, positionNames(), register.AddKindPosition{Kind: sheet.Kind.Name, Position: p})
		if err != nil {
			return "", wrap("add usual position", err)
		}
		switch {
		case !saved:
			return "", s.usualForm(c, sheet, nil, f)
		case f.do() == "next":
			return withDone(address(kindPath(sheet, "positions", "new"), "circuit", p.Circuit), usualAdded), nil
		}
		return withDone(kindPath(sheet), usualAdded), nil
	})
}

// usualOf is the usual position in the path.
func (s *Server) usualOf(c echo.Context) (register.KindSheet, register.KindPosition, error) {
	sheet, err := s.kindOf(c)
	if err != nil {
		return sheet, register.KindPosition{}, err
	}
	id, err := param(c, "id")
	for _, p := range sheet.Positions {
		if strconv.FormatInt(p.ID, 10) == id {
			return sheet, p, err
		}
	}
	return sheet, register.KindPosition{}, echo.ErrNotFound
}

func (s *Server) editUsual(c echo.Context) error {
	sheet, p, err := s.usualOf(c)
	if err != nil {
		return err
	}
	f := s.newForm(c)
	f.edits(usualValues(shownAs{s.style(c)}, p), p.Version)
	return s.usualForm(c, sheet, &p, f)
}

func (s *Server) changeUsual(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		sheet, p, err := s.usualOf(c)
		if err != nil {
			return "", err
		}
		if f.edits(usualValues(shownAs{s.style(c)}, p), p.Version) {
			return "", s.usualForm(c, sheet, &p, f)
		}
		var cmd register.Command
		word := usualChanged
		if f.do() == "take-back" {
			cmd, word = register.TakeBack{What: register.ThingKindPosition, ID: p.ID, Version: p.Version, Reason: "not usual for this kind"}, usualGone
		} else {
			changed := p
			readUsual(f, &changed)
			cmd = register.ChangeKindPosition{Position: changed}
		}
		_, saved, err := s.save(c, f, atOnce, positionNames(), cmd)
		if err != nil {
			return "", wrap("change usual position", err)
		}
		if saved {
			return withDone(kindPath(sheet), word), nil
		}
		return "", s.usualForm(c, sheet, &p, f)
	})
}

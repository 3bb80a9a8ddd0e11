package server

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/web"
)

// orderPage puts the positions of a machine, or the usual ones of a kind, in
// walking order: each has a number, and buttons that move it.
type orderPage struct {
	Base
	Problems []problem
	Action   string
	Once     string
	Cancel   string
	Rows     []orderRow
	Moved    string // what was moved and is not saved yet
}

// orderRow is one position with its number.
type orderRow struct {
	Name        string // of the position
	Hidden      string // name of the field that holds it
	Number      field
	First, Last bool
}

// ordered is a position of an order form with the number typed for it.
type ordered struct {
	name, typed string
	number      float64
}

// readOrder reads the positions of an order form with their numbers and sorts
// them by these, as they stood where numbers are the same. Without a number one
// is last.
func readOrder(f *form) []ordered {
	var rows []ordered
	for i := 0; f.text(rowName("name", i)) != ""; i++ {
		r := ordered{name: f.text(rowName("name", i)), typed: f.text(rowName("order", i)), number: 1e9}
		if v := parsed(f, rowName("order", i), quantity.ParseNumber); v != nil {
			r.number = *v
		}
		rows = append(rows, r)
	}
	if f.ok() {
		slices.SortStableFunc(rows, func(a, b ordered) int { return cmp.Compare(a.number, b.number) })
	}
	return rows
}

// move moves one row up or down as the button of the form says: up-lift or
// down-lift. It returns what was moved, in words.
func move(rows []ordered, do string) string {
	way, name, _ := strings.Cut(do, "-")
	i := slices.IndexFunc(rows, func(r ordered) bool { return r.name == name })
	j := i + 1
	if way == "up" {
		j = i - 1
	}
	if i < 0 || j < 0 || j >= len(rows) {
		return ""
	}
	rows[i], rows[j] = rows[j], rows[i]
	return name + " moved " + way + ", to place " + strconv.Itoa(j+1) + "."
}

// names are the positions in order.
func orderNames(rows []ordered) []string {
	names := make([]string, len(rows))
	for i, r := range rows {
		names[i] = r.name
	}
	return names
}

// orderForm is a form with positions in order, numbered anew.
func orderForm(names []string) *form {
	f := newForm()
	for i, name := range names {
		f.values.Set(rowName("name", i), name)
		f.values.Set(rowName("order", i), strconv.Itoa(i+1))
	}
	return f
}

func (s *Server) showOrder(c echo.Context, page orderPage, f *form) error {
	f.style = s.style(c)
	page.Problems, page.Once = f.Problems, f.once()
	for i := 0; f.text(rowName("name", i)) != ""; i++ {
		name := f.text(rowName("name", i))
		page.Rows = append(page.Rows, orderRow{
			Name: name, Hidden: rowName("name", i), Number: f.field(rowName("order", i), "Place of "+name).decimal(), First: i == 0,
		})
	}
	if n := len(page.Rows); n > 0 {
		page.Rows[n-1].Last = true
	}
	return s.renderForm(c, f, "order", page)
}

// sendOrder reads an order form: next is where it led, save is called with the
// names once they are to be saved, show shows the form again.
func (s *Server) sendOrder(f *form, save func(names []string) (string, error), show func(f *form, moved string) error) (string, error) {
	rows := readOrder(f)
	if !f.ok() {
		return "", show(f, "")
	}
	if do := f.do(); do != "" {
		moved := move(rows, do)
		return "", show(orderForm(orderNames(rows)), moved)
	}
	if len(rows) == 0 {
		f.wrong("", "There is nothing to put in order.")
		return "", show(f, "")
	}
	return save(orderNames(rows))
}

// positionNamesOf are the positions of a machine in walking order, with and
// without a hose.
func positionNamesOf(sheet register.MachineSheet) []string {
	type place struct {
		name  string
		order int
	}
	var places []place
	for _, l := range sheet.Lines {
		places = append(places, place{l.Position, l.WalkOrder})
	}
	for _, p := range sheet.Empty {
		places = append(places, place{p.Name, p.WalkOrder})
	}
	slices.SortStableFunc(places, func(a, b place) int { return cmp.Or(cmp.Compare(a.order, b.order), cmp.Compare(a.name, b.name)) })
	names := make([]string, len(places))
	for i, p := range places {
		names[i] = p.name
	}
	return names
}

func (s *Server) machineOrderPage(c echo.Context, sheet register.MachineSheet) orderPage {
	path := web.Path("machines", sheet.Machine.Code)
	return orderPage{Base: s.machineBase(c, "Walking order of "+sheet.Machine.Code, sheet), Action: path + "/order", Cancel: path}
}

func (s *Server) editOrder(c echo.Context) error {
	sheet, err := s.sheetOf(c)
	if err != nil {
		return err
	}
	return s.showOrder(c, s.machineOrderPage(c, sheet), orderForm(positionNamesOf(sheet)))
}

func (s *Server) changeOrder(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		sheet, err := s.sheetOf(c)
		if err != nil {
			return "", err
		}
		show := func(f *form, moved string) error {
			page := s.machineOrderPage(c, sheet)
			page.Moved = moved
			return s.showOrder(c, page, f)
		}
		return s.sendOrder(f, func(names []string) (string, error) {
			if _, err := s.apply(c, register.OrderPositions{Machine: sheet.Machine.Code, Names: names}); err != nil {
				if err := f.refuse(err, nil); err != nil {
					return "", wrap("order positions", err)
				}
				return "", show(f, "")
			}
			return withDone(web.Path("machines", sheet.Machine.Code), orderSaved), nil
		}, show)
	})
}

func (s *Server) kindOrderPage(c echo.Context, sheet register.KindSheet) orderPage {
	return orderPage{Base: s.base(c, "kinds", "Walking order of "+sheet.Kind.Name), Action: kindPath(sheet, "order"), Cancel: kindPath(sheet)}
}

func (s *Server) editUsualOrder(c echo.Context) error {
	sheet, err := s.kindOf(c)
	if err != nil {
		return err
	}
	names := make([]string, len(sheet.Positions))
	for i, p := range sheet.Positions {
		names[i] = p.Name
	}
	return s.showOrder(c, s.kindOrderPage(c, sheet), orderForm(names))
}

func (s *Server) changeUsualOrder(c echo.Context) error {
	return s.submit(c, func(f *form) (string, error) {
		sheet, err := s.kindOf(c)
		if err != nil {
			return "", err
		}
		show := func(f *form, moved string) error {
			page := s.kindOrderPage(c, sheet)
			page.Moved = moved
			return s.showOrder(c, page, f)
		}
		return s.sendOrder(f, func(names []string) (string, error) {
			var cmds []register.Command
			for _, p := range sheet.Positions {
				if i := slices.Index(names, p.Name); i >= 0 && p.WalkOrder != i+1 {
					p.WalkOrder = i + 1
					cmds = append(cmds, register.ChangeKindPosition{Position: p})
				}
			}
			if len(cmds) > 0 {
				if _, err := s.apply(c, cmds...); err != nil {
					if err := f.refuse(err, nil); err != nil {
						return "", wrap("order usual positions", err)
					}
					return "", show(f, "")
				}
			}
			return withDone(kindPath(sheet), orderSaved), nil
		}, show)
	})
}

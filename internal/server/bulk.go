package server

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"reflect"
	"slices"
	"strconv"
	"strings"

	"github.com/labstack/echo/v4"

	"hoseward/internal/quantity"
	"hoseward/internal/register"
	"hoseward/web"
)

// Many things of a list are changed at once in two steps: the form shows which
// dates would move, and saves when it is sent again. What is changed is either
// ticked or all of a list; of a list the form keeps its filters, not the ids,
// with a digest of them, so that a list that changed meanwhile is told of.

// many is a set of things to be changed at once.
type many struct {
	ids     []int64
	action  string // address of the form, with how the set is chosen and its digest
	list    string // address of the list it comes from
	changed bool   // the set is not the one the form was opened for
}

// chosenMany reads from the address which things are chosen: ticked ones, or
// all that the filters of the list choose.
func chosenMany(c echo.Context, path string, pairs []string, all func(context.Context) ([]int64, error)) (many, error) {
	m := many{list: address(path, pairs...)}
	var err error
	if c.QueryParam("all") == "yes" {
		if m.ids, err = all(c.Request().Context()); err != nil {
			return m, wrap("find what is to be changed", err)
		}
		pairs = append(pairs, "all", "yes")
	} else {
		ticked := strings.Join(c.QueryParams()["at"], ",")
		if m.ids, err = idsOf(ticked); err != nil {
			return m, err
		}
		pairs = append(pairs, "at", ticked)
	}
	digest := digestOf(m.ids)
	m.changed = c.Request().Method == post && c.QueryParam("set") != digest
	m.action = address(path+"/change", append(pairs, "set", digest)...)
	return m, nil
}

// mostTicked bounds the things ticked by hand; pages have fewer.
const mostTicked = 2 * listLimit

func idsOf(list string) ([]int64, error) {
	if list == "" {
		return nil, nil
	}
	parts := strings.Split(list, ",")
	if len(parts) > mostTicked {
		return nil, &register.Error{Code: register.Invalid, Sentence: "Too many are ticked at once; change the whole list instead."}
	}
	out := make([]int64, len(parts))
	for i, p := range parts {
		id, err := strconv.ParseInt(p, 10, 64)
		if err != nil || id <= 0 {
			return nil, &register.Error{Code: register.Invalid, Sentence: "This address is broken; go back to the list and tick again."}
		}
		out[i] = id
	}
	slices.Sort(out)
	return slices.Compact(out), nil
}

func digestOf(ids []int64) string {
	h := sha256.New()
	for _, id := range ids {
		h.Write(strconv.AppendInt(nil, id, 10))
		h.Write([]byte{'\n'})
	}
	return hex.EncodeToString(h.Sum(nil)[:12])
}

// changeMany shows or carries out the form that changes many things at once.
// commands reads it; show shows it.
func (s *Server) changeMany(c echo.Context, m many, word string, commands func(f *form, names map[string]string) []register.Command, show func(f *form, view *previewView) error) error {
	if len(m.ids) == 0 {
		return goOn(c, withDone(m.list, noneTicked), nil)
	}
	if c.Request().Method != post {
		return show(s.newForm(c, "basis", string(register.Assumed), "from", s.style(c).Date(s.base(c, "", "").Today)), nil)
	}
	return s.submit(c, func(f *form) (string, error) {
		if f.moreRows() {
			return "", show(f, nil)
		}
		names := map[string]string{}
		cmds := commands(f, names)
		if len(cmds) == 0 && f.ok() {
			f.wrong("", "Nothing is to be changed yet: choose or fill in what all of them shall have.")
		}
		if m.changed {
			f.wrong("", "The list changed since you opened this page. These are the ones on it now; look at what saving would move, and save again.")
		}
		view, err := s.mustSee(c, f, names, cmds)
		if err != nil {
			return "", err
		}
		if view != nil {
			return "", show(f, view)
		}
		_, saved, err := s.save(c, f, atOnce, names, cmds...)
		if err != nil {
			return "", wrap("change many at once", err)
		}
		if saved {
			return withDone(m.list, word), nil
		}
		return "", show(f, nil)
	})
}

// mustSee is what a change of many would move, also where that is nothing, for
// whoever has not seen it yet; nil for whoever has, and where something is
// wrong with the form.
func (s *Server) mustSee(c echo.Context, f *form, names map[string]string, cmds []register.Command) (*previewView, error) {
	if !f.ok() {
		return nil, nil
	}
	key, err := previewKey(cmds)
	if err != nil || f.raw("previewed") == key {
		return nil, err
	}
	p, err := s.store(c).Preview(c.Request().Context(), s.deps.Now(), s.actor(c), cmds...)
	if err != nil {
		return nil, wrap("preview a change of many", f.refuse(err, names))
	}
	return previewOf(p, key), nil
}

// leave is the choice that changes nothing.
func leave() option { return option{"", "leave as it is"} }

// The values of choices that take something away or name it; a name can be
// anything.
const (
	chosenNone = "none"
	chosenIs   = "is:"
)

// choose3 reads a choice of leaving, taking away and one of several names.
func (f *form) choose3(name string) *string {
	v := f.raw(name)
	none := ""
	switch is, named := strings.CutPrefix(v, chosenIs); {
	case v == "":
		return nil
	case v == chosenNone:
		return &none
	case named:
		return &is
	}
	f.wrong(name, "Choose one of the list.")
	return nil
}

func (s *Server) changeManyPositions(c echo.Context) error {
	filter, filters := s.positionFilter(c)
	if err := firstProblem(filters); err != nil { // what is left out of a list would be changed here
		return err
	}
	m, err := chosenMany(c, "/positions", filters.pairs(positionFilterNames()...), func(ctx context.Context) ([]int64, error) {
		return s.store(c).PositionIDs(ctx, filter)
	})
	if err != nil {
		return err
	}
	commands := func(f *form, names map[string]string) []register.Command {
		return positionChanges(f, m.ids, names, s.base(c, "", "").Today)
	}
	return s.changeMany(c, m, positionsChanged, commands, func(f *form, view *previewView) error {
		page := formPage{
			Base: s.base(c, "positions", "Change "+web.Count(len(m.ids), "position", "positions")), Action: m.action, Cancel: m.list, Button: "Save the changes",
			Preview: view, Previews: true, Safety: safetyLines(),
			Lead: []string{"What you choose here all of them get. What you leave stays as each of them has it."},
		}
		policies, err := s.store(c).Policies(c.Request().Context())
		if err != nil {
			return wrap("list policies", err)
		}
		choice := []option{leave(), {chosenNone, "that of the site"}}
		for _, p := range policies {
			choice = append(choice, option{chosenIs + p.Name, p.Name})
		}
		either := []option{leave(), {"yes", "yes"}, {"no", "no"}}
		page.Groups = append([]formGroup{{Fields: []field{
			f.field("policy", "Policy").choose(choice...),
			f.field("hurt", "A burst here can hurt someone").choose(either...),
			f.field("exposed", "Exposed").choose(either...).hint("To abrasion, flexing, vibration, salt or hot spots."),
			f.field("circuit", "Circuit").hint("Empty: leave as it is."),
			whyMilder(f),
		}, Ticks: []tick{f.tick("no_circuit", "Belongs to no circuit")}}}, conditionGroups(f)...)
		return s.showForm(c, f, page)
	})
}

// positionChanges are the commands for what a form says of many positions.
func positionChanges(f *form, ids []int64, names map[string]string, today quantity.Date) []register.Command {
	change := register.ChangePositions{Positions: ids, CanHurt: f.yesOrNo("hurt"), Exposed: f.yesOrNo("exposed"), Policy: f.choose3("policy"), Reason: f.text("reason")}
	if circuit := f.text("circuit"); circuit != "" {
		change.Circuit = &circuit
		if f.ticked("no_circuit") {
			f.wrong("circuit", "Give a circuit or tick that there is none, not both.")
		}
	} else if f.ticked("no_circuit") {
		change.Circuit = new(string)
	}
	var cmds []register.Command
	if change.CanHurt != nil || change.Exposed != nil || change.Policy != nil || change.Circuit != nil {
		cmds = append(cmds, change)
	}
	for field, name := range serviceNames() {
		names[field] = name
	}
	if service := f.service(register.Service{}, names, today); !reflect.DeepEqual(service, register.Service{}) {
		f.needed("from", "Give the day from which they are worked so.")
		cmds = append(cmds, register.SetConditionsAt{Positions: ids, From: f.day("from"), Service: service, Basis: register.Basis(f.text("basis")), Note: f.text("note")})
	}
	return cmds
}

// conditionGroups are the fields for how many positions are worked from a day
// on.
func conditionGroups(f *form) []formGroup {
	return append([]formGroup{{Title: "How they are worked from a day on", Hint: "Fill in only what changes. Each position keeps what it had before that day.", Fields: []field{
		f.field("from", "From").hint("The day from which it is so."),
		f.field("basis", "The values are").choose(option{string(register.Assumed), "assumed"}, option{string(register.Measured), "measured"}),
		f.field("note", "Where the values come from").wide(),
	}}}, serviceGroups(f)...)
}

func machineFilterNames() []string { return []string{"site", "kind", "text"} }

func (s *Server) changeManyMachines(c echo.Context) error {
	filters := s.fromQuery(c, machineFilterNames()...)
	m, err := chosenMany(c, "/machines", filters.pairs(machineFilterNames()...), func(ctx context.Context) ([]int64, error) {
		return s.store(c).MachineIDs(ctx, register.MachineFilter{Site: filters.text("site"), Kind: filters.text("kind"), Text: filters.text("text")})
	})
	if err != nil {
		return err
	}
	commands := func(f *form, names map[string]string) []register.Command {
		names["planned_hours_per_week"] = "planned"
		change := register.ChangeMachines{Machines: m.ids, Site: f.choose3("site"), Kind: f.choose3("kind"), CanHurt: f.yesOrNo("hurt"), PlannedHoursPerWeek: f.hours("planned")}
		if change.Site == nil && change.Kind == nil && change.CanHurt == nil && change.PlannedHoursPerWeek == nil {
			return nil
		}
		return []register.Command{change}
	}
	return s.changeMany(c, m, machinesChanged, commands, func(f *form, view *previewView) error {
		page := formPage{
			Base: s.base(c, "machines", "Change "+web.Count(len(m.ids), "machine", "machines")), Action: m.action, Cancel: m.list, Button: "Save the changes",
			Preview: view, Previews: true, Safety: safetyLines(),
			Lead: []string{"What you choose here all of them get. What you leave stays as each of them has it."},
		}
		group, err := s.manyMachinesGroup(c, f)
		page.Groups = []formGroup{group}
		if err != nil {
			return err
		}
		return s.showForm(c, f, page)
	})
}

func (s *Server) manyMachinesGroup(c echo.Context, f *form) (formGroup, error) {
	ctx := c.Request().Context()
	sites, err := s.store(c).Sites(ctx)
	if err != nil {
		return formGroup{}, wrap("list sites", err)
	}
	kinds, err := s.store(c).Kinds(ctx)
	if err != nil {
		return formGroup{}, wrap("list kinds of machines", err)
	}
	siteChoice, kindChoice := []option{leave()}, []option{leave(), {chosenNone, "none"}}
	for _, v := range sites {
		siteChoice = append(siteChoice, option{chosenIs + v.Name, v.Name})
	}
	for _, v := range kinds {
		kindChoice = append(kindChoice, option{chosenIs + v.Name, v.Name})
	}
	return formGroup{Fields: []field{
		f.field("site", "Site").choose(siteChoice...),
		f.field("kind", "Kind of machine").choose(kindChoice...).hint("Its usual values hold where nothing nearer is known."),
		f.field("planned", "Planned hours per week").decimal().hint("Empty: leave as it is. Used until readings say better."),
		f.field("hurt", "A burst on them can hurt someone").choose(leave(), option{"yes", "yes"}, option{"no", "no"}),
	}}, nil
}

package store

import (
	"context"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"hoseward/internal/hose"
	"hoseward/internal/life"
	"hoseward/internal/quantity"
	"hoseward/internal/register"
)

// usualFound and mostFound are how many of each kind of thing a search lists.
const (
	usualFound = 20
	mostFound  = 100
)

// Search finds machines, assemblies and empty positions that have every word
// of a text somewhere: in codes, names, site, circuit, position, designation,
// size, layline or maker. One or two letters find codes that begin with them.
// limit is how many of each are listed at most, 0 means 20. The code of one
// thing finds that alone, also one that left or a code an assembly had before.
// No text is an error; one without letters finds nothing.
func (s *Store) Search(ctx context.Context, now time.Time, text string, limit int) (register.Found, error) {
	text = plainText(text)
	if text == "" {
		return register.Found{}, nil
	}
	if limit <= 0 {
		limit = usualFound
	}
	limit = min(limit, mostFound)
	d, err := s.days(ctx, now)
	if err != nil {
		return register.Found{}, err
	}
	if found, ok, err := s.exactly(ctx, d, text); err != nil || ok {
		return found, err
	}
	var found register.Found
	for _, g := range []struct {
		table findTable
		codes string // the table whose codes may begin so
		list  func(context.Context, *days, []int64) ([]register.FoundThing, error)
		to    *[]register.FoundThing
	}{
		{findMachines, machines.name, s.foundMachines, &found.Machines},
		{findAssemblies, assemblies.name, s.foundAssemblies, &found.Assemblies},
		{findPositions, "", s.foundPositions, &found.Positions},
	} {
		list, err := s.look(ctx, g.table, g.codes, text, limit+1)
		if err != nil {
			return found, err
		}
		if len(list) > limit {
			list, found.More = list[:limit], true
		}
		if *g.to, err = g.list(ctx, d, list); err != nil {
			return found, err
		}
	}
	return found, nil
}

// plainText is a text in small letters without control characters, words
// separated by one space; at most 200 letters of it.
func plainText(text string) string {
	text = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || r == utf8.RuneError {
			return ' '
		}
		return r
	}, strings.ToValidUTF8(text, " "))
	if r := []rune(text); len(r) > 200 {
		text = string(r[:200])
	}
	return strings.Join(strings.Fields(strings.ToLower(text)), " ")
}

// lookFor is a text to look for as engines take it: what no text of the register
// can hold finds nothing.
func lookFor(text string) string {
	return strings.ReplaceAll(strings.ToValidUTF8(text, "\ufffd"), "\x00", "\ufffd")
}

// exactly finds the one thing a text is the code of; ok is false if there is
// none or more than one.
func (s *Store) exactly(ctx context.Context, d *days, text string) (found register.Found, ok bool, err error) {
	c, key := s.reader(), fold(text)
	ms, err := ids(ctx, c, "SELECT id FROM machines WHERE LOWER(code) = ?"+s.within("site_id"), key)
	if err != nil {
		return found, false, fmt.Errorf("find machine %q: %w", text, err)
	}
	as, err := ids(ctx, c, "SELECT assembly_id FROM assembly_codes WHERE LOWER(code) = ?"+s.holdsAssembly("assembly_id"), key)
	if err != nil {
		return found, false, fmt.Errorf("find assembly %q: %w", text, err)
	}
	if len(ms)+len(as) != 1 {
		return found, false, nil
	}
	if found.Machines, err = s.foundMachines(ctx, d, ms); err != nil {
		return found, false, err
	}
	if found.Assemblies, err = s.foundAssemblies(ctx, d, as); err != nil {
		return found, false, err
	}
	for _, t := range slices.Concat(found.Machines, found.Assemblies) {
		found.Only = &t
	}
	return found, found.Only != nil, nil
}

// look finds rows by what their code begins with, then by what their text has
// in it, in the order they came to the register.
func (s *Store) look(ctx context.Context, f findTable, codes, text string, limit int) ([]int64, error) {
	var list []int64
	of := s.holdsFound(f)
	if codes != "" {
		from, to := fold(text), fold(text)+"\U0010ffff"
		gone := ""
		if codes == machines.name {
			gone = " AND gone_on IS NULL"
		}
		var err error
		list, err = ids(ctx, s.reader(), "SELECT id FROM "+codes+" WHERE LOWER(code) >= ? AND LOWER(code) < ?"+gone+of(codes+".id")+
			" ORDER BY LOWER(code) LIMIT "+strconv.Itoa(limit), from, to)
		if err != nil || len(list) >= limit {
			return list, err
		}
	}
	cond, args := s.e.has(f, text)
	if cond == "" {
		return list, nil
	}
	more, err := ids(ctx, s.reader(), "SELECT "+s.e.findID()+" FROM "+f.name+" WHERE "+cond+of(f.name+"."+s.e.findID())+
		" ORDER BY "+s.e.findID()+" LIMIT "+strconv.Itoa(limit), args...)
	if err != nil {
		return nil, fmt.Errorf("search %s: %w", f.name, err)
	}
	for _, id := range more {
		if !slices.Contains(list, id) {
			list = append(list, id)
		}
	}
	return list[:min(len(list), limit)], nil
}

// findID is the column that has the id of the thing a text is about.
func (e *engine) findID() string {
	if e.name == Postgres {
		return "id"
	}
	return "rowid"
}

// has is the condition for texts that have all pieces of a text in them, empty
// where there is no piece long enough to look for.
func (e *engine) has(f findTable, text string) (string, []any) {
	return e.hasPieces(f, pieces(text))
}

// hasPieces is the condition for texts that have all of some pieces in them.
func (e *engine) hasPieces(f findTable, list []string) (string, []any) {
	if len(list) == 0 {
		return "", nil
	}
	if e.name == Postgres {
		args := make([]any, len(list))
		for i, p := range list {
			args[i] = pattern(p)
		}
		return strings.TrimPrefix(strings.Repeat(` AND text LIKE ? ESCAPE '\'`, len(list)), " AND "), args
	}
	quoted := make([]string, len(list))
	for i, p := range list {
		quoted[i] = `"` + strings.ReplaceAll(p, `"`, `""`) + `"`
	}
	return f.name + " MATCH ?", []any{strings.Join(quoted, " AND ")}
}

var (
	dashSize     = regexp.MustCompile(`^-(\d{1,2})$`)
	fractionSize = regexp.MustCompile(`^(\d{1,2}/\d{1,2})(?:["”″]|''|in|inch)?$`)
	joinedDN     = regexp.MustCompile(`^(?:dn|nw)(\d{1,3})$`)
	wholeNumber  = regexp.MustCompile(`^\d{1,3}$`)
)

// pieces are what must stand in a text, each at least three letters with the
// space before a word: sizes as sizeWords writes them, words of one or two
// letters as the beginning of a word or the whole of it, others anywhere. A
// single text of one or two letters that is no size has none.
func pieces(text string) []string {
	text = plainText(text)
	words := strings.Fields(text)
	short := utf8.RuneCountInString(text) < 3
	var list []string
	for i := 0; i < len(words); i++ {
		w := words[i]
		next := ""
		if i+1 < len(words) {
			next = words[i+1]
		}
		piece := w
		switch {
		case joinedDN.MatchString(w):
			piece = dnPiece(joinedDN.FindStringSubmatch(w)[1])
		case (w == "dn" || w == "nw") && wholeNumber.MatchString(next):
			piece = dnPiece(next)
			i++
		case dashSize.MatchString(w):
			n, _ := strconv.Atoi(w[1:])
			piece = fmt.Sprintf(" -%d ", n)
		case wholeNumber.MatchString(w) && fractionSize.MatchString(next):
			piece = " " + w + "-" + fractionSize.FindStringSubmatch(next)[1]
			i++
		case fractionSize.MatchString(w):
			piece = " " + fractionSize.FindStringSubmatch(w)[1]
		case short:
			return nil
		case utf8.RuneCountInString(w) == 2:
			piece = " " + w
		case utf8.RuneCountInString(w) == 1:
			piece = " " + w + " "
		}
		if !slices.Contains(list, piece) {
			list = append(list, piece)
		}
	}
	return list
}

// dnPiece is a nominal size by its EN name: DN 13 is DN 12.
func dnPiece(number string) string {
	n, _ := strconv.Atoi(number)
	if size, ok := hose.SizeOfDN(n); ok {
		n = size.DN
	}
	return fmt.Sprintf(" dn %d ", n)
}

// foundMachines describes machines, in the order of the ids.
func (s *Store) foundMachines(ctx context.Context, d *days, list []int64) ([]register.FoundThing, error) {
	query := `SELECT m.id, m.site_id, m.code, m.name, COALESCE(k.name, '') FROM machines m LEFT JOIN kinds k ON k.id = m.kind_id WHERE m.id IN (`
	return s.describe(ctx, query, list, func(scan func(...any) error) (t register.FoundThing, id int64, err error) {
		var site int64
		var name, kind string
		err = scan(&id, &site, &t.Code, &name, &kind)
		t.What, t.Where, t.Says = register.ThingMachine, d.sites[site].Name, joined(", ", name, kind)
		return t, id, err
	})
}

// foundAssemblies describes assemblies, in the order of the ids.
func (s *Store) foundAssemblies(ctx context.Context, d *days, list []int64) ([]register.FoundThing, error) {
	query := `SELECT a.id, COALESCE(m.site_id, a.site_id), a.code, a.designation, a.dn, a.dash, a.layline, a.scrapped_on,
			COALESCE(m.code, ''), COALESCE(q.name, ''), p.id IS NOT NULL, COALESCE(e.stop_open, FALSE), e.act_by, COALESCE(e.complete, FALSE)
		FROM assemblies a LEFT JOIN placements p ON p.assembly_id = a.id AND p.to_on IS NULL
			LEFT JOIN positions q ON q.id = p.position_id LEFT JOIN machines m ON m.id = q.machine_id
			LEFT JOIN estimates e ON e.assembly_id = a.id
		WHERE a.id IN (`
	return s.describe(ctx, query, list, func(scan func(...any) error) (t register.FoundThing, id int64, err error) {
		var r seenRow
		var site int64
		var size hose.Size
		var designation, layline string
		err = scan(&id, &site, &t.Code, &designation, &size.DN, &size.Dash, &layline, &r.scrapped, &r.machine, &r.position, &r.fitted, &r.stop, &r.actBy, &r.complete)
		t.What, t.Says = register.ThingAssembly, joined(", ", designation, size.String(), layline)
		t.Status = r.status(d.today[site])
		t.Where = d.sites[site].Name
		if r.fitted {
			t.Where, t.Incomplete = joined(" ", r.machine, r.position), !r.complete
		}
		return t, id, err
	})
}

// seenRow is where an assembly is, as a query gives it.
type seenRow struct {
	machine, position string
	fitted, stop      bool
	complete          bool
	actBy, scrapped   quantity.Date
}

func (r *seenRow) status(today quantity.Date) life.Status {
	switch {
	case r.fitted:
		return life.StatusOn(r.stop, r.actBy, today)
	case !r.scrapped.IsZero():
		return life.StatusRemoved
	}
	return life.StatusInStore
}

// foundPositions describes positions, in the order of the ids.
func (s *Store) foundPositions(ctx context.Context, _ *days, list []int64) ([]register.FoundThing, error) {
	query := `SELECT q.id, m.code, m.name, q.name, COALESCE(c.name, '') FROM positions q JOIN machines m ON m.id = q.machine_id
			LEFT JOIN circuits c ON c.id = q.circuit_id WHERE q.id IN (`
	return s.describe(ctx, query, list, func(scan func(...any) error) (t register.FoundThing, id int64, err error) {
		var name, circuit string
		err = scan(&id, &t.Where, &name, &t.Position, &circuit)
		t.What, t.Code, t.Says = register.ThingPosition, t.Where, joined(", ", name, circuit)
		return t, id, err
	})
}

// describe reads things by their ids and gives them in that order; those that
// are gone meanwhile are left out.
func (s *Store) describe(ctx context.Context, query string, list []int64, read func(scan func(...any) error) (register.FoundThing, int64, error)) ([]register.FoundThing, error) {
	if len(list) == 0 {
		return nil, nil
	}
	rows, err := s.reader().query(ctx, query+idList(list)+")")
	if err != nil {
		return nil, fmt.Errorf("read what was found: %w", translate(err))
	}
	defer rows.Close()
	byID := make(map[int64]register.FoundThing, len(list))
	for rows.Next() {
		t, id, err := read(rows.Scan)
		if err != nil {
			return nil, fmt.Errorf("read what was found: %w", err)
		}
		byID[id] = t
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("read what was found: %w", translate(err))
	}
	var out []register.FoundThing
	for _, id := range list {
		if t, ok := byID[id]; ok {
			out = append(out, t)
		}
	}
	return out, nil
}

// joined puts together the parts that are not empty.
func joined(by string, parts ...string) string {
	return strings.Join(slices.DeleteFunc(parts, func(p string) bool { return p == "" }), by)
}

package store

import (
	"context"
	"fmt"
	"reflect"
	"strings"
	"sync"

	"gorm.io/gorm/schema"

	"hoseward/internal/register"
)

// table reads rows of a register type without going through gorm: the columns
// are those gorm finds on the type, but each is scanned straight into its
// field. Facts are read this way, 100 000 assemblies at a time.
type table[T any] struct {
	name    string
	columns string // quoted, separated by commas
	names   []string
	paths   [][]int
	add     string // inserts a row but for its id, and gives that
}

// The tables that hold register types.
var (
	sites       = newTable[register.Site]()
	kinds       = newTable[register.Kind]()
	machines    = newTable[register.Machine]()
	circuits    = newTable[register.Circuit]()
	positions   = newTable[register.Position]()
	policies    = newTable[register.Policy]()
	people      = newTable[register.Person]()
	assemblies  = newTable[register.Assembly]()
	placements  = newTable[register.Placement]()
	removals    = newTable[register.Removal]()
	readings    = newTable[register.Reading]()
	meterEvents = newTable[register.MeterEvent]()
	layUps      = newTable[register.LayUp]()
	conditions  = newTable[register.Conditions]()
	duties      = newTable[register.Duty]()
	inspections = newTable[register.Inspection]()
	findings    = newTable[register.Finding]()
	changes     = newTable[register.Change]()
	estimates   = newTable[register.Estimate]()
	jobRuns     = newTable[register.JobRun]()

	kindPositions = newTable[register.KindPosition]()
	savedLists    = newTable[register.SavedList]()
	acts          = newTable[register.Act]()
	personRoles   = newTable[register.PersonRole]()
	tokens        = newTable[register.Token]()
	credentials   = newTable[register.Credential]()
	invitations   = newTable[register.Invitation]()
	devices       = newTable[register.Device]()
)

// newTable panics on a type that gorm cannot map: a mistake in the program
// that any test shows.
func newTable[T any]() *table[T] {
	s, err := schema.Parse(new(T), &sync.Map{}, schema.NamingStrategy{})
	if err != nil {
		panic(fmt.Sprintf("map %T to a table: %v", *new(T), err))
	}
	t := &table[T]{name: s.Table}
	quoted := make([]string, 0, len(s.Fields))
	for _, f := range s.Fields {
		if f.DBName == "" {
			continue
		}
		t.names = append(t.names, f.DBName)
		t.paths = append(t.paths, f.StructField.Index)
		quoted = append(quoted, `"`+f.DBName+`"`)
	}
	t.columns = strings.Join(quoted, ", ")
	if t.names[0] == "id" {
		t.add = "INSERT INTO " + t.name + " (" + strings.Join(quoted[1:], ", ") + ") VALUES (" +
			strings.TrimSuffix(strings.Repeat("?, ", len(quoted)-1), ", ") + ")"
	}
	return t
}

// insert adds a row to a table that gives out ids, and says which it got.
func (t *table[T]) insert(ctx context.Context, c conn, row *T) (id int64, err error) {
	v := reflect.ValueOf(row).Elem()
	args := make([]any, 0, len(t.paths))
	for _, p := range t.paths[1:] {
		f := v
		for _, i := range p {
			f = f.Field(i)
		}
		args = append(args, f.Interface())
	}
	if c.e.name == SQLite { // asking for the id costs more than being told
		done, err := c.exec(ctx, t.add, args...)
		if err != nil {
			return 0, err
		}
		return done.LastInsertId()
	}
	err = c.row(ctx, t.add+" RETURNING id", args...).Scan(&id)
	return id, err
}

// prefixed is the columns, each of the table called alias.
func (t *table[T]) prefixed(alias string) string {
	cols := make([]string, len(t.names))
	for i, n := range t.names {
		cols[i] = alias + `."` + n + `"`
	}
	return strings.Join(cols, ", ")
}

// dest appends where the columns of row are scanned to.
func (t *table[T]) dest(dest []any, row *T) []any {
	v := reflect.ValueOf(row).Elem()
	for _, p := range t.paths {
		f := v
		for _, i := range p {
			f = f.Field(i)
		}
		dest = append(dest, f.Addr().Interface())
	}
	return dest
}

// where reads the rows that meet a condition, which may end in an ORDER BY.
func (t *table[T]) where(ctx context.Context, c conn, condition string, args ...any) ([]T, error) {
	var rows []T
	err := t.each(ctx, c, condition, args, func(row *T) error {
		rows = append(rows, *row)
		return nil
	})
	return rows, err
}

// each hands the rows that meet a condition to f, one at a time.
func (t *table[T]) each(ctx context.Context, c conn, condition string, args []any, f func(*T) error) error {
	q := "SELECT " + t.columns + " FROM " + t.name
	if condition != "" {
		q += " WHERE " + condition
	}
	rows, err := c.query(ctx, q, args...)
	if err != nil {
		return fmt.Errorf("read %s: %w", t.name, translate(err))
	}
	defer rows.Close()
	dest := make([]any, 0, len(t.paths))
	for rows.Next() {
		row := new(T)
		if err := rows.Scan(t.dest(dest[:0], row)...); err != nil {
			return fmt.Errorf("read a row of %s: %w", t.name, err)
		}
		if err := f(row); err != nil {
			return err
		}
	}
	if err := rows.Err(); err != nil {
		return fmt.Errorf("read %s: %w", t.name, translate(err))
	}
	return nil
}

// one reads the row that meets a condition, nil if there is none.
func (t *table[T]) one(ctx context.Context, c conn, condition string, args ...any) (*T, error) {
	rows, err := t.where(ctx, c, condition, args...)
	if err != nil || len(rows) == 0 {
		return nil, err
	}
	return &rows[0], nil
}

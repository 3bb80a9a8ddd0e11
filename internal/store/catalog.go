package store

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
)

// kindOf is what the values of a column are, whatever the engine calls it. A
// date is a text on SQLite.
type kindOf string

const (
	ofInteger kindOf = "integer"
	ofFloat   kindOf = "float"
	ofBool    kindOf = "boolean"
	ofText    kindOf = "text"
	ofDate    kindOf = "date"
	ofTime    kindOf = "time"
	ofBytes   kindOf = "bytes"
)

// catalogColumn is a column as the database describes it.
type catalogColumn struct {
	name string
	kind kindOf
}

// catalogTable is a table as the database describes it.
type catalogTable struct {
	name    string
	columns []catalogColumn // by name, so that the order is one for both engines
	key     []string        // columns of the primary key in its order
	counted string          // column whose ids the database gives out; empty if none
	refers  []string        // other tables it refers to
	self    []string        // PostgreSQL: constraints by which its rows refer to one another
}

func (t *catalogTable) names() []string {
	var names []string
	for _, c := range t.columns {
		names = append(names, c.name)
	}
	return names
}

// leftOut says why a table is not part of a dump; empty if it is.
func leftOut(table string) string {
	switch {
	case strings.HasPrefix(table, "find_"):
		return "search texts, made anew from the other tables"
	case table == "tallies":
		return "counts, made anew from the other tables"
	case table == "goose_db_version" || table == "sqlite_sequence":
		return "the engine's own; what it says stands in the dump's description"
	case table == unfinishedTable:
		return "marks a register that is being loaded"
	case table == "sessions":
		return "signs people in; a copy that is stolen must not"
	case table == "invitations":
		return "one-time addresses; one used since must not be good again"
	}
	return ""
}

// catalog describes the tables of a dump, each behind those it refers to.
func catalog(ctx context.Context, c conn) ([]*catalogTable, error) {
	read := sqliteCatalog
	if c.e.name == Postgres {
		read = postgresCatalog
	}
	all, err := read(ctx, c)
	if err != nil {
		return nil, fmt.Errorf("read which tables there are: %w", translate(err))
	}
	var tables []*catalogTable
	for _, t := range all {
		if leftOut(t.name) == "" {
			slices.SortFunc(t.columns, func(a, b catalogColumn) int { return strings.Compare(a.name, b.name) })
			tables = append(tables, t)
		}
	}
	return inOrder(tables)
}

// inOrder puts each table behind those it refers to, else by name.
func inOrder(tables []*catalogTable) ([]*catalogTable, error) {
	tables = slices.SortedFunc(slices.Values(tables), func(a, b *catalogTable) int { return cmp.Compare(a.name, b.name) })
	var out []*catalogTable
	done := map[string]bool{}
	for len(out) < len(tables) {
		before := len(out)
		for _, t := range tables {
			ready := !done[t.name] && !slices.ContainsFunc(t.refers, func(r string) bool { return !done[r] })
			if ready {
				out = append(out, t)
				done[t.name] = true
			}
		}
		if len(out) == before {
			return nil, errors.New("order the tables: some refer to one another in a ring, or to one that is left out")
		}
	}
	return out, nil
}

// eachRow reads rows of one query; f scans each.
func eachRow(ctx context.Context, c conn, query string, f func(scan func(...any) error) error) error {
	rows, err := c.query(ctx, query)
	if err != nil {
		return err
	}
	defer rows.Close()
	for rows.Next() {
		if err := f(rows.Scan); err != nil {
			return err
		}
	}
	return rows.Err()
}

// byName finds or begins a table in a catalog that is being read.
type byName map[string]*catalogTable

func (m byName) sorted() []*catalogTable {
	var all []*catalogTable
	for _, t := range m {
		all = append(all, t)
	}
	return all
}

// refer notes that a table refers to another, or to itself by a constraint.
func (m byName) refer(from, to, constraint string) {
	t := m[from]
	switch {
	case t == nil:
	case from == to:
		t.self = append(t.self, constraint)
	case !slices.Contains(t.refers, to):
		t.refers = append(t.refers, to)
	}
}

func sqliteCatalog(ctx context.Context, c conn) ([]*catalogTable, error) {
	all := byName{}
	err := eachRow(ctx, c, `SELECT m.name, m.sql LIKE '%AUTOINCREMENT%', c.name, c.type, c.pk FROM sqlite_master m JOIN pragma_table_info(m.name) c
		WHERE m.type = 'table' AND m.sql NOT LIKE 'CREATE VIRTUAL%' ORDER BY m.name, c.pk`, func(scan func(...any) error) error {
		var table, column, declared string
		var counted bool
		var key int
		if err := scan(&table, &counted, &column, &declared, &key); err != nil {
			return err
		}
		if leftOut(table) != "" {
			return nil
		}
		kind, ok := map[string]kindOf{"INTEGER": ofInteger, "REAL": ofFloat, "BOOLEAN": ofBool, "TEXT": ofText, "TIMESTAMP": ofTime, "BLOB": ofBytes}[declared]
		if !ok {
			return fmt.Errorf("column %s of %s is of the unknown type %q", column, table, declared)
		}
		t := all.table(table)
		t.columns = append(t.columns, catalogColumn{column, kind})
		if key > 0 {
			t.key = append(t.key, column)
		}
		if key > 0 && counted {
			t.counted = column
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	err = eachRow(ctx, c, `SELECT m.name, f."table" FROM sqlite_master m JOIN pragma_foreign_key_list(m.name) f WHERE m.type = 'table'`, func(scan func(...any) error) error {
		var from, to string
		if err := scan(&from, &to); err != nil {
			return err
		}
		all.refer(from, to, "")
		return nil
	})
	return all.sorted(), err
}

func (m byName) table(name string) *catalogTable {
	if m[name] == nil {
		m[name] = &catalogTable{name: name}
	}
	return m[name]
}

func postgresCatalog(ctx context.Context, c conn) ([]*catalogTable, error) {
	all := byName{}
	err := eachRow(ctx, c, `SELECT c.table_name::text, c.column_name::text, c.data_type::text, c.is_identity = 'YES'
		FROM information_schema.columns c JOIN information_schema.tables t ON t.table_schema = c.table_schema AND t.table_name = c.table_name
		WHERE c.table_schema = current_schema() AND t.table_type = 'BASE TABLE'`, func(scan func(...any) error) error {
		var table, column, declared string
		var counted bool
		if err := scan(&table, &column, &declared, &counted); err != nil {
			return err
		}
		if leftOut(table) != "" {
			return nil
		}
		kind, ok := map[string]kindOf{
			"bigint": ofInteger, "integer": ofInteger, "double precision": ofFloat, "boolean": ofBool,
			"text": ofText, "date": ofDate, "timestamp with time zone": ofTime, "bytea": ofBytes,
		}[declared]
		if !ok {
			return fmt.Errorf("column %s of %s is of the unknown type %q", column, table, declared)
		}
		t := all.table(table)
		t.columns = append(t.columns, catalogColumn{column, kind})
		if counted {
			t.counted = column
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	err = eachRow(ctx, c, `SELECT t.relname::text, a.attname::text FROM pg_constraint k JOIN pg_class t ON t.oid = k.conrelid
		JOIN pg_attribute a ON a.attrelid = t.oid AND a.attnum = ANY (k.conkey)
		WHERE k.contype = 'p' AND k.connamespace = current_schema()::regnamespace ORDER BY t.relname, array_position(k.conkey, a.attnum)`, func(scan func(...any) error) error {
		var table, column string
		if err := scan(&table, &column); err != nil {
			return err
		}
		if t := all[table]; t != nil {
			t.key = append(t.key, column)
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	err = eachRow(ctx, c, `SELECT k.conname::text, t.relname::text, r.relname::text FROM pg_constraint k JOIN pg_class t ON t.oid = k.conrelid
		JOIN pg_class r ON r.oid = k.confrelid WHERE k.contype = 'f' AND k.connamespace = current_schema()::regnamespace`, func(scan func(...any) error) error {
		var constraint, from, to string
		if err := scan(&constraint, &from, &to); err != nil {
			return err
		}
		all.refer(from, to, constraint)
		return nil
	})
	return all.sorted(), err
}

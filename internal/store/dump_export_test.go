package store

import (
	"context"
	"errors"

	"hoseward/internal/register"
)

// What tests of dumps look at from outside.

// Address is where the register is.
func (s *Store) Address() string { return s.dsn }

// LoadAsIs makes a register from a dump and leaves it at the dump's schema, as
// an older program would have left it.
func LoadAsIs(ctx context.Context, dsn string, info register.DumpInfo, src register.DumpSource) error {
	s, err := connect(ctx, dsn)
	if err != nil {
		return err
	}
	err = s.prepareSchema(ctx, info.Schema)
	if err == nil {
		err = s.inTx(ctx, func(c conn) error { return loadRows(ctx, c, info, src) })
	}
	if err == nil {
		_, err = s.write.ExecContext(ctx, "DROP TABLE "+unfinishedTable)
	}
	return errors.Join(err, s.Close())
}

// LineValue writes a value of a column as a dump does.
func LineValue(kind string, v any) (string, error) {
	b, err := appendValue(nil, kindOf(kind), v)
	return string(b), err
}

// LineBack reads what LineValue wrote.
func LineBack(kind, text string) (any, error) {
	cells, err := parseLine([]byte("["+text+"]"), nil)
	if err != nil {
		return nil, err
	}
	if len(cells) != 1 {
		return nil, errLine
	}
	return valueFor(kindOf(kind), cells[0])
}

// LineAgain reads a line and writes it as it was understood.
func LineAgain(line []byte) (text string, values int, err error) {
	cells, err := parseLine(line, nil)
	if err != nil {
		return "", 0, err
	}
	b := []byte("[")
	for i, c := range cells {
		if i > 0 {
			b = append(b, ',')
		}
		switch v := c.(type) {
		case number:
			b = append(b, v...)
		case []byte:
			b, err = appendValue(b, ofBytes, v)
		case string:
			b, err = appendValue(b, ofText, v)
		default:
			b, err = appendValue(b, ofBool, v)
		}
		if err != nil {
			return "", 0, err
		}
	}
	return string(append(b, ']')), len(cells), nil
}

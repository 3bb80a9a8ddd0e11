package store

import "hoseward/internal/register"

// wholeAtOnce is how many rows go into one INSERT.
const wholeAtOnce = 200

// wholeBatch holds rows back, to write many at once.
type wholeBatch[T any] struct {
	tab     *table[T]
	id      func(*T) int64
	taken   string               // what to say of one that is there already
	after   func(rows []T) error // told of the rows once they have their ids; may be nil
	rows    []T
	numbers []int
}

// hold holds a row back, and writes what is held when it is much.
func hold[T any](w *wholeTaker, b *wholeBatch[T], row T) error {
	b.rows, b.numbers = append(b.rows, row), append(b.numbers, w.number)
	if len(b.rows) < wholeAtOnce {
		return nil
	}
	return writeHeld(w, b)
}

func writeHeld[T any](w *wholeTaker, b *wholeBatch[T]) error {
	if len(b.rows) == 0 {
		return nil
	}
	rows, numbers := b.rows, b.numbers
	b.rows, b.numbers = nil, nil
	err := w.t.try(func() error { return w.t.orm.Create(&rows).Error })
	if err != nil {
		return w.blame(b.tab.name, err, len(rows), func(i int) error {
			one := rows[i : i+1 : i+1]
			return w.t.orm.Create(&one).Error
		}, numbers, refuse(register.Exists, "", "%s", b.taken))
	}
	for i := range rows {
		if err := w.t.note(b.tab.name, b.id(&rows[i]), register.Added, nil, &rows[i]); err != nil {
			return err
		}
	}
	if b.after == nil {
		return nil
	}
	return b.after(rows)
}

// blame finds the row of many that the database refuses.
func (w *wholeTaker) blame(table string, err error, n int, insert func(i int) error, numbers []int, taken error) error {
	for i := range n {
		if oneErr := w.t.try(func() error { return insert(i) }); oneErr != nil {
			return w.at(numbers[i], w.t.explain("add to "+table, oneErr, taken))
		}
	}
	return w.t.explain("add to "+table, err, taken)
}

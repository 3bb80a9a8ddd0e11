package register

import "errors"

// The troubles that keep a register from being read or written, whatever is
// asked of it. Unlike an Error they say nothing of what was typed: the same
// request may well succeed once the trouble is over. A store wraps the words of
// its database in one of them.
var (
	// ErrBusy: others hold what is needed; it passes by itself.
	ErrBusy = errors.New("the register is busy with other changes; try again in a minute")
	// ErrFull: there is no room left on the disk.
	ErrFull = errors.New("there is no room left on the disk of the register; make room, and it goes on by itself")
	// ErrReadOnly: the file, the folder or the database takes no changes.
	ErrReadOnly = errors.New("the register cannot be written to; let this program write to its file, and to the folder the file is in")
	// ErrGone: the database, or the disk it is on, does not answer.
	ErrGone = errors.New("the database of the register does not answer; see that it runs and can be reached")
	// ErrUnsure: the line broke while a change was being saved: it is there
	// wholly or not at all, and only looking tells.
	ErrUnsure = errors.New("the line to the database broke while a change was being saved; look whether it is there")
	// ErrDamaged: what is on the disk cannot be right.
	ErrDamaged = errors.New("the register is damaged; stop, keep its file and restore a backup")
)

// troubles are all troubles with what people are told: what happened, and what
// to do.
var troubles = []struct {
	err      error
	sentence string
}{
	{ErrUnsure, "The line to the register broke while this was being saved, so it may be there or not. Look whether it is before you send it again."},
	{ErrBusy, "The register is busy with other changes and did not get to this one; nothing of it was saved. Try again in a minute."},
	{ErrFull, "The disk of the register is full; nothing of this was saved, and what was there is safe. Tell whoever runs the register to make room, then try again."},
	{ErrReadOnly, "The register takes no changes at the moment: it may only be read. Nothing of this was saved. Tell whoever runs the register."},
	{ErrGone, "The register cannot be reached at the moment; nothing of this was saved. Try again in a minute, and if it stays so tell whoever runs the register."},
	{ErrDamaged, "The register's own file is damaged. Change nothing more, and tell whoever runs the register at once: it has to be restored from a backup."},
}

// Trouble tells people of the trouble in an error: a sentence of what happened
// and what to do, and which one it is. kind is nil where there is none.
func Trouble(err error) (sentence string, kind error) {
	for _, t := range troubles {
		if errors.Is(err, t.err) {
			return t.sentence, t.err
		}
	}
	return "", nil
}

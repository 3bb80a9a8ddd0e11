package server

import (
	"errors"
	"fmt"
	"os"
	"strings"
	"syscall"
	"testing"

	"hoseward/internal/register"
)

func TestAnswer_TellsOfTroubles(t *testing.T) {
	for _, row := range []struct {
		why    string
		err    error
		status int
		says   string
	}{
		{"others hold it", fmt.Errorf("begin: %w", register.ErrBusy), 503, "busy with other changes"},
		{"no room", register.ErrFull, 507, "disk of the register is full"},
		{"no room for an upload", &os.PathError{Op: "write", Path: "x", Err: syscall.ENOSPC}, 507, "disk of the register is full"},
		{"a folder that may only be read", &os.PathError{Op: "open", Path: "x", Err: syscall.EROFS}, 503, "may only be read"},
		{"gone", register.ErrGone, 503, "cannot be reached"},
		{"gone while it was saved", errors.Join(register.ErrGone, register.ErrUnsure), 503, "may be there or not"},
		{"damaged", register.ErrDamaged, 503, "restored from a backup"},
		{"what nobody foresaw", errors.New("SQL logic error"), 500, "REQUEST"},
	} {
		t.Run(row.why, func(t *testing.T) {
			status, sentence := answer(fmt.Errorf("note reading: %w", row.err), "REQUEST")
			if status != row.status || !strings.Contains(sentence, row.says) || strings.Contains(sentence, "note reading") || strings.Contains(sentence, "SQL") {
				t.Errorf("%d %q, want %d and %q", status, sentence, row.status, row.says)
			}
		})
	}
}

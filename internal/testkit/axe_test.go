package testkit_test

import (
	"strings"
	"testing"

	"hoseward/internal/testkit"
)

func TestAxeScript_RefusesAnotherPackage(t *testing.T) {
	for _, pack := range []string{"", "not the package", "\x1f\x8b\x08\x00"} {
		if script, err := testkit.AxeScript([]byte(pack)); err == nil || script != "" || !strings.Contains(err.Error(), "SHA-512") {
			t.Errorf("%q is taken: %v", pack, err)
		}
	}
}

func TestAxe_IsTheScript(t *testing.T) {
	if script := testkit.Axe(t); len(script) < 100_000 || !strings.Contains(script, "axe") {
		t.Errorf("a script of %d bytes", len(script))
	}
}

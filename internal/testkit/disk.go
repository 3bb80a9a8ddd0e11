package testkit

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// Disk is a small disk of a test's own.
type Disk struct{ Dir string }

// SmallDisk is a disk of so many bytes, such as "8m". Where this user may not
// mount one the test is skipped.
func SmallDisk(t testing.TB, size string) *Disk {
	t.Helper()
	dir := t.TempDir()
	if out, err := exec.Command("mount", "-t", "tmpfs", "-o", "size="+size, "tmpfs", dir).CombinedOutput(); err != nil {
		t.Skipf("a full or read-only disk is not tried: this user may not mount one (%s); run the tests as root of a container to have it", strings.TrimSpace(string(out)))
	}
	t.Cleanup(func() {
		if out, err := exec.Command("umount", "-l", dir).CombinedOutput(); err != nil {
			t.Errorf("umount: %s", out)
		}
	})
	return &Disk{dir}
}

func (d *Disk) ballast() string { return filepath.Join(d.Dir, "ballast") }

// Fill fills the disk to its last byte.
func (d *Disk) Fill(t testing.TB) {
	t.Helper()
	f, err := os.Create(d.ballast())
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	for _, size := range []int{64 << 10, 4 << 10, 1} {
		for block := make([]byte, size); ; {
			if _, err := f.Write(block); err != nil {
				break
			}
		}
	}
}

// MakeRoom takes away what Fill has put there.
func (d *Disk) MakeRoom(t testing.TB) {
	t.Helper()
	if err := os.Remove(d.ballast()); err != nil {
		t.Fatal(err)
	}
}

// TakeChanges lets the disk take changes, or not.
func (d *Disk) TakeChanges(t testing.TB, takes bool) {
	t.Helper()
	how := "ro"
	if takes {
		how = "rw"
	}
	if out, err := exec.Command("mount", "-o", "remount,"+how, d.Dir).CombinedOutput(); err != nil {
		t.Fatalf("remount: %s", out)
	}
}

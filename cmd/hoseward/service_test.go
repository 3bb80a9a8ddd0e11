package main

import (
	"bufio"
	"bytes"
	"io"
	"strings"
	"sync"
	"testing"
)

// lockedText is what a program that runs beside the test wrote.
type lockedText struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (l *lockedText) Write(p []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.Write(p)
}

func (l *lockedText) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.b.String()
}

// awaitAddress reads what a service prints until it says where it serves, and
// lets it print on.
func awaitAddress(t *testing.T, out io.Reader) string {
	t.Helper()
	lines := bufio.NewScanner(out)
	said := ""
	for lines.Scan() {
		if _, address, found := strings.Cut(lines.Text(), "serves at "); found {
			go io.Copy(io.Discard, out)
			return address
		}
		said += lines.Text() + "\n"
	}
	t.Fatalf("the service did not say where it serves: %s", said)
	return ""
}

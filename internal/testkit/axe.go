package testkit

import (
	"archive/tar"
	"bytes"
	"compress/gzip"
	"context"
	"crypto/sha512"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"testing"
	"time"
)

// The accessibility checker that pages are held to: an npm package, fetched when
// a test first wants it and kept in the user's cache folder. It is no part of
// the program. To move on to another version, change both.
const (
	axePackage   = "axe-core@4.14.1"
	axeIntegrity = "FHfa+lmNjQZfJz1q8wKqIDwC6DExcHt/pkjNQb09a3NPjCKg2rhu5qb2S4r76ASyFNNtuFooJpZe37OgudVGtQ==" // SHA-512 of the package
	axeFile      = "package/axe.min.js"
)

// axeTime is how long fetching it may take.
const axeTime = 2 * time.Minute

// errNoAxe says why the checker cannot be had here.
var errNoAxe = errors.New("no axe-core; to hold pages to it install npm and let it reach its registry once")

// Axe is the source of the checker. Where it cannot be had the test is skipped,
// or fails where HOSEWARD_TEST_ALL is 1. A package that is not the one pinned
// fails the test always.
func Axe(t testing.TB) string {
	t.Helper()
	script, err := axe()
	switch {
	case err == nil:
		return script
	case errors.Is(err, errNoAxe) && os.Getenv("HOSEWARD_TEST_ALL") != "1":
		t.Skip(err)
	default:
		t.Fatal(err)
	}
	return ""
}

func axe() (string, error) {
	cache, err := os.UserCacheDir()
	if err != nil {
		cache = os.TempDir()
	}
	kept := filepath.Join(cache, "hoseward", axePackage+".tgz")
	if pack, err := os.ReadFile(kept); err == nil {
		if script, err := AxeScript(pack); err == nil {
			return script, nil
		}
	}
	pack, err := fetchAxe()
	if err != nil {
		return "", err
	}
	script, err := AxeScript(pack)
	if err != nil {
		return "", err
	}
	return script, keep(kept, pack)
}

// fetchAxe lets npm fetch the package.
func fetchAxe() ([]byte, error) {
	npm, err := exec.LookPath("npm")
	if err != nil {
		return nil, fmt.Errorf("%w: %w", errNoAxe, err)
	}
	dir, err := os.MkdirTemp("", "axe-*")
	if err != nil {
		return nil, fmt.Errorf("make a folder for the package: %w", err)
	}
	defer os.RemoveAll(dir)
	ctx, cancel := context.WithTimeout(context.Background(), axeTime)
	defer cancel()
	cmd := exec.CommandContext(ctx, npm, "pack", axePackage, "--pack-destination", dir, "--ignore-scripts", "--silent")
	cmd.Dir = dir
	if out, err := cmd.CombinedOutput(); err != nil {
		return nil, fmt.Errorf("%w: npm pack: %w: %.300s", errNoAxe, err, out)
	}
	packs, err := filepath.Glob(filepath.Join(dir, "*.tgz"))
	if err != nil || len(packs) != 1 {
		return nil, fmt.Errorf("npm packed %v, %w", packs, errors.Join(err, errNoAxe))
	}
	return os.ReadFile(packs[0])
}

// keep writes the package so that another test never sees half of it.
func keep(path string, pack []byte) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o755); err != nil {
		return fmt.Errorf("make the cache folder: %w", err)
	}
	f, err := os.CreateTemp(filepath.Dir(path), "axe-*")
	if err != nil {
		return fmt.Errorf("keep the package: %w", err)
	}
	_, err = f.Write(pack)
	if err = errors.Join(err, f.Close()); err == nil {
		err = os.Rename(f.Name(), path)
	}
	if err != nil {
		os.Remove(f.Name())
		return fmt.Errorf("keep the package: %w", err)
	}
	return nil
}

// AxeScript takes the script out of the package. A package other than the one
// pinned is an error.
func AxeScript(pack []byte) (string, error) {
	sum := sha512.Sum512(pack)
	if got := base64.StdEncoding.EncodeToString(sum[:]); got != axeIntegrity {
		return "", fmt.Errorf("the package is not %s: its SHA-512 is %s, want %s", axePackage, got, axeIntegrity)
	}
	z, err := gzip.NewReader(bytes.NewReader(pack))
	if err != nil {
		return "", fmt.Errorf("unpack %s: %w", axePackage, err)
	}
	for files := tar.NewReader(z); ; {
		h, err := files.Next()
		if err != nil {
			return "", fmt.Errorf("find %s in %s: %w", axeFile, axePackage, err)
		}
		if h.Name == axeFile {
			script, err := io.ReadAll(files)
			return string(script), err
		}
	}
}

package main

import (
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"io"
	"log/slog"
	"math/big"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"hoseward/internal/config"
)

// writeCertificate writes a self-signed certificate for 127.0.0.1 with a
// number of its own, good for a year around noon.
func writeCertificate(t *testing.T, dir string, number int64) config.TLSFiles {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	what := &x509.Certificate{
		SerialNumber: big.NewInt(number), Subject: pkix.Name{CommonName: "127.0.0.1"}, IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)},
		NotBefore: noon.AddDate(0, -6, 0), NotAfter: noon.AddDate(0, 6, 0), KeyUsage: x509.KeyUsageDigitalSignature, IsCA: true, BasicConstraintsValid: true,
	}
	der, err := x509.CreateCertificate(rand.Reader, what, what, key.Public(), key)
	if err != nil {
		t.Fatal(err)
	}
	keyDER, err := x509.MarshalPKCS8PrivateKey(key)
	if err != nil {
		t.Fatal(err)
	}
	files := config.TLSFiles{Cert: filepath.Join(dir, "cert.pem"), Key: filepath.Join(dir, "key.pem")}
	for path, block := range map[string]*pem.Block{files.Cert: {Type: "CERTIFICATE", Bytes: der}, files.Key: {Type: "PRIVATE KEY", Bytes: keyDER}} {
		if err := os.WriteFile(path, pem.EncodeToMemory(block), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	return files
}

func TestCertificates_RenewedWithoutRestart(t *testing.T) {
	dir := t.TempDir()
	files := writeCertificate(t, dir, 1)
	at := noon
	var log bytes.Buffer
	c, err := openCertificates(files, func() time.Time { return at }, slog.New(slog.NewTextHandler(&log, nil)))
	if err != nil {
		t.Fatal(err)
	}
	serial := func() int64 { return c.get().Leaf.SerialNumber.Int64() }
	writeCertificate(t, dir, 2)
	touch(t, files.Cert)
	if serial() != 1 {
		t.Error("the files are looked at for each connection")
	}
	if at = at.Add(11 * time.Second); serial() != 2 {
		t.Error("the new certificate is not seen")
	}
	if err := os.WriteFile(files.Cert, []byte("half a fi"), 0o600); err != nil {
		t.Fatal(err)
	}
	if at = at.Add(11 * time.Second); serial() != 2 || !strings.Contains(log.String(), "cannot be used") {
		t.Errorf("a broken file: certificate %d, log %q", serial(), log.String())
	}
	writeCertificate(t, dir, 3)
	if c.reload(); serial() != 3 {
		t.Error("not read anew when told to")
	}
	if at = noon.Add(-time.Hour); serial() != 3 { // the clock set back
		t.Error("another certificate after the clock was set back")
	}
}

// touch makes a file look changed whatever the resolution of its times.
func touch(t *testing.T, path string) {
	t.Helper()
	if err := os.Chtimes(path, noon, noon); err != nil {
		t.Fatal(err)
	}
}

func TestCertificates_WhatCannotBeUsedIsRefusedAtStart(t *testing.T) {
	dir := t.TempDir()
	files := writeCertificate(t, dir, 1)
	other := writeCertificate(t, t.TempDir(), 2)
	for why, f := range map[string]config.TLSFiles{
		"no such file":       {Cert: filepath.Join(dir, "none"), Key: files.Key},
		"the key of another": {Cert: files.Cert, Key: other.Key},
		"the files swapped":  {Cert: files.Key, Key: files.Cert},
	} {
		code, _, stderr := call(t, "", "serve", "--backups", "none", "--db", filepath.Join(dir, "x.db"), "--files", filepath.Join(dir, "f"), "--listen", "127.0.0.1:0", "--tls-cert", f.Cert, "--tls-key", f.Key)
		if code != exitEnvironment || !strings.Contains(stderr, "read the certificate") || strings.Contains(stderr, "PRIVATE") {
			t.Errorf("%s: exit %d, %s", why, code, stderr)
		}
	}
}

func TestServe_TLS(t *testing.T) {
	dir := t.TempDir()
	files := writeCertificate(t, dir, 7)
	ctx, cancel := context.WithCancel(t.Context())
	read, write := io.Pipe()
	var errs lockedText
	m := &Main{Stdin: strings.NewReader(""), Stdout: write, Stderr: &errs, Now: func() time.Time { return noon }}
	code := make(chan int, 1)
	go func() {
		code <- m.Run(ctx, []string{"serve", "--backups", "none", "--db", filepath.Join(dir, "x.db"), "--files", filepath.Join(dir, "f"), "--listen", "127.0.0.1:0", "--tls-cert", files.Cert, "--tls-key", files.Key})
		write.Close()
	}()
	address := awaitAddress(t, read)
	defer func() {
		cancel()
		if c := <-code; c != exitDone {
			t.Errorf("exit %d: %s", c, errs.String())
		}
	}()
	if !strings.HasPrefix(address, "https://") {
		t.Fatalf("it printed %q", address)
	}
	pool := x509.NewCertPool()
	b, err := os.ReadFile(files.Cert)
	if err != nil || !pool.AppendCertsFromPEM(b) {
		t.Fatal("no certificate", err)
	}
	client := func(most uint16) *http.Client {
		return &http.Client{
			Transport:     &http.Transport{ForceAttemptHTTP2: true, TLSClientConfig: &tls.Config{RootCAs: pool, MaxVersion: most, Time: func() time.Time { return noon }}},
			CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse },
		}
	}
	good := client(0)
	resp, err := good.Get(address + "/healthz")
	if err != nil {
		t.Fatal(err)
	}
	resp.Body.Close()
	if resp.StatusCode != 200 || resp.Header.Get("Strict-Transport-Security") != "max-age=31536000" || resp.ProtoMajor != 2 || resp.TLS.Version < tls.VersionTLS12 {
		t.Errorf("status %d, HSTS %q, HTTP/%d, TLS %x", resp.StatusCode, resp.Header.Get("Strict-Transport-Security"), resp.ProtoMajor, resp.TLS.Version)
	}
	if r, err := client(tls.VersionTLS11).Get(address + "/healthz"); err == nil {
		r.Body.Close()
		t.Error("TLS 1.1 is spoken")
	}
	plain, err := http.Get("http" + strings.TrimPrefix(address, "https") + "/")
	if err != nil || plain.StatusCode != 400 {
		t.Errorf("plain HTTP on the TLS port: %v, %v", plain, err)
	}
	if plain != nil {
		plain.Body.Close()
	}
	good.CloseIdleConnections()
}

func TestServe_SaysAloudThatItIsInTheClear(t *testing.T) {
	dir := t.TempDir()
	var stderr bytes.Buffer
	m := &Main{Stderr: &stderr, Now: func() time.Time { return noon }}
	f := config.Flags{DB: filepath.Join(dir, "x.db"), Listen: "192.0.2.5:80", Files: dir, Backups: "none", Log: "text", Insecure: true}
	s, err := f.Check()
	if err != nil {
		t.Fatal(err)
	}
	p, err := protection("192.0.2.5:80", m, s, slog.New(slog.DiscardHandler))
	if err != nil || !p.clear || p.scheme != "http" || !strings.Contains(stderr.String(), "WARNING") {
		t.Errorf("%+v, %v, said %q", p, err, stderr.String())
	}
}

package session

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base32"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"strings"
	"time"

	"github.com/alexedwards/argon2id"
	"golang.org/x/text/unicode/norm"
)

// cost is what making a hash takes. OWASP's Password Storage Cheat Sheet (from
// memory) wants of argon2id at least 19 MiB with two passes or 46 MiB with
// one; this is both, and about a tenth of a second on one core.
func cost() *argon2id.Params {
	return &argon2id.Params{Memory: 46 << 10, Iterations: 2, Parallelism: 1, SaltLength: 16, KeyLength: 32}
}

// atOnce is how many hashes are made at once, so that a flood of people signing
// in takes 92 MiB and no more; patience is how long one waits for its turn.
const (
	atOnce   = 2
	patience = 10 * time.Second
)

// ErrBusy is a hash whose turn did not come.
var ErrBusy = errors.New("too many passwords are being looked at")

// Passwords makes hashes of passwords and PINs, and compares. Its methods may
// be called by many requests at once.
type Passwords struct {
	turn  chan struct{}
	decoy string // hash of a secret nobody knows
}

// NewPasswords makes one.
func NewPasswords() *Passwords {
	return &Passwords{turn: make(chan struct{}, atOnce), decoy: decoy(cost())}
}

// decoy is a hash of nothing anybody knows: random bytes in the place of one.
func decoy(p *argon2id.Params) string {
	b := make([]byte, p.SaltLength+p.KeyLength)
	_, _ = rand.Read(b) // never fails, see crypto/rand
	text := base64.RawStdEncoding.EncodeToString
	return fmt.Sprintf("$argon2id$v=19$m=%d,t=%d,p=%d$%s$%s", p.Memory, p.Iterations, p.Parallelism, text(b[:p.SaltLength]), text(b[p.SaltLength:]))
}

// Hash makes the hash of a secret; ErrBusy if there is no time for it.
func (p *Passwords) Hash(ctx context.Context, secret string) (string, error) {
	if err := p.take(ctx); err != nil {
		return "", err
	}
	defer p.give()
	hash, err := argon2id.CreateHash(Normal(secret), cost())
	if err != nil {
		return "", fmt.Errorf("make a hash: %w", err)
	}
	return hash, nil
}

// Matches reports whether a hash is that of a secret. An empty hash is that of
// none, and takes as long to find out; ErrBusy if there is no time for it.
func (p *Passwords) Matches(ctx context.Context, secret, hash string) (bool, error) {
	if err := p.take(ctx); err != nil {
		return false, err
	}
	defer p.give()
	against := hash
	if hash == "" {
		against = p.decoy
	}
	ok, err := argon2id.ComparePasswordAndHash(Normal(secret), against)
	if err != nil {
		return false, fmt.Errorf("compare a hash: %w", err)
	}
	return ok && hash != "", nil
}

func (p *Passwords) take(ctx context.Context) error {
	late := time.NewTimer(patience)
	defer late.Stop()
	select {
	case p.turn <- struct{}{}:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	case <-late.C:
		return ErrBusy
	}
}

func (p *Passwords) give() { <-p.turn }

// Normal is a password as it is hashed: in Unicode's form NFKC, so that the
// same signs typed on another keyboard are the same password (NIST SP 800-63B,
// 5.1.1.2, from memory), and otherwise as it is, spaces and capitals included.
func Normal(password string) string { return norm.NFKC.String(strings.ToValidUTF8(password, "\uFFFD")) }

// NewSecret is a random text of 256 bits: 52 letters and digits.
func NewSecret() string {
	var b [32]byte
	_, _ = rand.Read(b[:]) // never fails, see crypto/rand
	return strings.ToLower(base32.StdEncoding.WithPadding(base32.NoPadding).EncodeToString(b[:]))
}

// HashSecret is what is kept of a secret that NewSecret made. Nobody can search
// for 256 random bits, so it need not be slow.
func HashSecret(secret string) string {
	sum := sha256.Sum256([]byte(secret))
	return hex.EncodeToString(sum[:])
}

// PINAndDevice is what is hashed of a PIN: with the secret of its device, so
// that who has the database alone cannot search through a million PINs.
func PINAndDevice(pin, device string) string { return pin + ":" + device }

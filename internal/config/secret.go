package config

import (
	"fmt"
	"io"
	"os"
	"strings"

	"github.com/alecthomas/kong"
)

// maxSecret is the largest file taken for a secret, in bytes.
const maxSecret = 64 << 10

// Secrets lets each setting tagged secret be read from the file named by its
// variable with _FILE behind it: HOSEWARD_DB_FILE for HOSEWARD_DB. The flag
// wins over the file; the variable and the file together are refused, as it
// would be unclear which is meant. White space at the ends of the file is
// dropped. An unreadable, empty or oversized file is an error that names the
// variable, never the secret.
func Secrets() kong.Resolver { return secrets{lookup: os.LookupEnv} }

type secrets struct {
	lookup func(name string) (value string, ok bool)
}

// Validate has nothing to check before a setting is asked for.
func (secrets) Validate(*kong.Application) error { return nil }

// Resolve gives the content of the file, or nil if none is named.
func (s secrets) Resolve(_ *kong.Context, _ *kong.Path, flag *kong.Flag) (any, error) {
	if !flag.Tag.Has("secret") {
		return nil, nil
	}
	for _, name := range flag.Envs {
		path, ok := s.lookup(name + "_FILE")
		if !ok || path == "" {
			continue
		}
		if v, _ := s.lookup(name); v != "" {
			return nil, fmt.Errorf("both %s and %s_FILE are set; leave one out", name, name)
		}
		return readSecret(name+"_FILE", path)
	}
	return nil, nil
}

func readSecret(name, path string) (any, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("%s names a file that cannot be read: %w", name, err)
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, maxSecret+1))
	if err != nil {
		return nil, fmt.Errorf("%s names a file that cannot be read: %w", name, err)
	}
	if len(b) > maxSecret {
		return nil, fmt.Errorf("%s names a file of more than %d bytes; it is to hold one secret", name, maxSecret)
	}
	secret := strings.TrimSpace(string(b))
	if secret == "" {
		return nil, fmt.Errorf("%s names an empty file; put the secret in it", name)
	}
	return secret, nil
}

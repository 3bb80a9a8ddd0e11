package register

import (
	"fmt"
	"strconv"
	"strings"
)

// Head is the newest row of the change log: its number, and its hash, which
// stands for every row before it too. Printed on exports it is what a log that
// was written anew as a whole is found by. The zero Head is that of a log
// without rows.
type Head struct {
	Seq  int64
	Hash string
}

// headLetters is how few letters of a hash are taken for it: 48 bits.
const headLetters = 12

// String is number and hash, 1234:9f86d081884c..., the form ParseHead reads.
func (h Head) String() string { return strconv.FormatInt(h.Seq, 10) + ":" + h.Hash }

// Short is String with the first 12 letters of the hash.
func (h Head) Short() string {
	h.Hash = h.Hash[:min(len(h.Hash), headLetters)]
	return h.String()
}

// ParseHead reads a head as it is printed: the number, a colon, and the hash or
// at least its first 12 letters.
func ParseHead(text string) (Head, error) {
	seq, hash, ok := strings.Cut(strings.TrimSpace(text), ":")
	n, err := strconv.ParseInt(strings.TrimSpace(seq), 10, 64)
	h := Head{Seq: n, Hash: strings.ToLower(strings.TrimSpace(hash))}
	hex := strings.Trim(h.Hash, "0123456789abcdef") == ""
	switch {
	case !ok, err != nil, !hex, h.Seq < 0, len(h.Hash) > 64, h.Seq > 0 && len(h.Hash) < headLetters, h.Seq == 0 && h.Hash != "":
		return Head{}, fmt.Errorf("read %q as the head of a change log: give its number, a colon and at least %d letters of its hash, as it is printed", text, headLetters)
	}
	return h, nil
}

// Is reports whether a row of the log with that number and hash is this head.
func (h Head) Is(seq int64, hash string) bool {
	return h.Seq == seq && strings.HasPrefix(hash, h.Hash)
}

// ChainFault is the first row at which the change log is broken.
type ChainFault struct {
	Seq   int64     `json:"row"`
	What  FaultKind `json:"what"`
	About string    `json:"about"` // the row of the register the change is about; empty where nothing is known
	Text  string    `json:"text"`  // what is wrong, in words
}

// String says which row it is, what it is about and what is wrong with it.
func (f ChainFault) String() string {
	about := ""
	if f.About != "" {
		about = " (" + f.About + ")"
	}
	return fmt.Sprintf("row %d%s: %s", f.Seq, about, f.Text)
}

// FaultKind is what is wrong with a row of the change log.
type FaultKind string

// The kinds of faults.
const (
	FaultAltered FaultKind = "altered"
	FaultMissing FaultKind = "missing"
	FaultPutIn   FaultKind = "put in"
	FaultHead    FaultKind = "wrong head"
)

// RowFault is a row of the register that is not as the change log left it.
type RowFault struct {
	Table string `json:"table"`
	ID    int64  `json:"id"`
	What  string `json:"what"` // what is the matter with it, in words
}

// String says which row it is and what is the matter with it.
func (r RowFault) String() string { return fmt.Sprintf("row %d of %s %s", r.ID, r.Table, r.What) }

// Verdict is what holding a register to its change log found.
type Verdict struct {
	Changes int64       // rows of the change log that were read
	Head    Head        // as the register has it
	Chain   *ChainFault // nil where the log is whole
	// Given is the head that was looked for, as printed once; GivenFault says
	// what the log has instead, empty where it has that row.
	Given      *Head
	GivenFault string

	Rows    int64      // rows of the register that were held to the log
	Differ  []RowFault // the first of those that differ
	Tallies []string   // counts that are not what the tables have
	Guards  []string   // triggers that keep the log from being altered and are gone
	File    []string   // what the database itself finds wrong: references, pages
}

// Whole reports whether nothing was found wrong.
func (v *Verdict) Whole() bool {
	return v.Chain == nil && v.GivenFault == "" && len(v.Differ)+len(v.Tallies)+len(v.Guards)+len(v.File) == 0
}

// VerifyOptions are how a register is held to its log.
type VerifyOptions struct {
	// Head is one printed before, which the log must still have; nil for none.
	Head *Head
	// Progress is told now and then what is being read and how many rows of it
	// were; nil if nobody asks.
	Progress func(what string, rows int64)
}

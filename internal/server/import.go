package server

import (
	"context"
	"errors"
	"io"
	"mime"
	"net/http"
	"time"

	"github.com/labstack/echo/v4"

	"hoseward/internal/exchange"
	"hoseward/internal/register"
	"hoseward/web"
)

// importStore is what the import asks of the register.
type importStore interface {
	Import(ctx context.Context, now time.Time, by register.Actor, rows register.RowSource, opts register.ImportOptions) (register.ImportReport, error)
	UndoImport(ctx context.Context, now time.Time, by register.Actor, id int64) (register.Result, error)
	FileImported(ctx context.Context, personID int64, fileHash string) (*register.Import, error)
	Imports(ctx context.Context, personID int64) ([]register.Import, error)
	HeaderChoice(ctx context.Context, kind register.ImportKind, headerHash string) (map[string]string, error)
	SaveHeaderChoice(ctx context.Context, kind register.ImportKind, headerHash string, meanings map[string]string) error
}

// importPage offers to bring a sheet and lists the ones that were taken.
type importPage struct {
	Base
	Problems  []problem
	Kind      field
	MaxUpload string
	Past      []register.Import
}

func (s *Server) imports(c echo.Context) error {
	return s.uploadForm(c, newForm("kind", query(c, "kind")))
}

func (s *Server) uploadForm(c echo.Context, f *form) error {
	past, err := s.store(c).Imports(c.Request().Context(), s.actor(c).PersonID)
	if err != nil {
		return wrap("list imports", err)
	}
	page := importPage{
		Base: s.base(c, "import", "Import a sheet"), Problems: f.Problems, MaxUpload: megabytes(s.cfg.MaxUpload), Past: past,
		Kind: f.field("kind", "What is in it").choose(kindOptions()...).hint("Told from the headers if you leave it so."),
	}
	return s.renderForm(c, f, "import", page)
}

func kindOptions() []option {
	o := []option{{"", "find out from the headers"}}
	for _, k := range exchange.Kinds() {
		o = append(o, option{string(k), string(k)})
	}
	return o
}

// knownKind is the kind of that name, empty if there is none.
func knownKind(name string) register.ImportKind {
	for _, k := range exchange.Kinds() {
		if string(k) == name {
			return k
		}
	}
	return ""
}

// drainAtMost bounds how much more than the limit of an upload is read and
// thrown away, so that a browser gets to read why it was refused.
const drainAtMost = 512 << 20

// upload keeps a file and goes on to the report on it.
func (s *Server) upload(c echo.Context) error {
	f := newForm()
	id, err := s.keepUpload(c, f)
	var tooLarge *http.MaxBytesError
	switch {
	case errors.As(err, &tooLarge):
		_, _ = io.CopyN(io.Discard, c.Request().Body, drainAtMost)
		f.wrong("file", "The file is larger than the "+megabytes(tooLarge.Limit)+" taken here. Split it, or import it on the command line: hoseward import FILE.")
	case err != nil:
		return err
	}
	if !f.ok() {
		return s.uploadForm(c, f)
	}
	if whole, err := s.takeRegister(c, id, f); err != nil || whole {
		if err == nil && !f.ok() {
			return s.uploadForm(c, f)
		}
		if err != nil {
			return err
		}
		return done(c, "/register", registerTaken)
	}
	return c.Redirect(http.StatusSeeOther, address(web.Path("import", id), "kind", string(knownKind(f.text("kind")))))
}

// keepUpload reads the parts of the form as they come; the file goes straight
// to disk.
func (s *Server) keepUpload(c echo.Context, f *form) (id string, err error) {
	r := c.Request()
	mediaType, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	if err != nil || mediaType != "multipart/form-data" {
		f.wrong("file", "Choose a file.")
		return "", nil
	}
	parts, err := r.MultipartReader()
	if err != nil {
		return "", echo.NewHTTPError(http.StatusBadRequest, "The form could not be read. Go back and choose the file again.").WithInternal(err)
	}
	for {
		part, err := parts.NextPart()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return "", brokeOff(err)
		}
		switch part.FormName() {
		case "kind":
			b, err := io.ReadAll(io.LimitReader(part, 100))
			if err != nil {
				return "", wrap("read form", err)
			}
			f.values.Set("kind", string(b))
		case "file":
			if part.FileName() == "" {
				continue
			}
			id, err = s.deps.Uploads.Save(part.FileName(), part, s.cfg.MaxUpload)
			if errors.Is(err, io.ErrUnexpectedEOF) {
				return "", brokeOff(err)
			}
			if err != nil {
				return "", wrap("keep upload", err)
			}
		}
	}
	if id == "" {
		f.wrong("file", "Choose a file.")
	}
	return id, nil
}

func brokeOff(err error) error {
	return echo.NewHTTPError(http.StatusBadRequest, "The file broke off on its way here. Send it again.").WithInternal(err)
}

package server

import (
	"errors"
	"net/http"
	"syscall"

	"github.com/labstack/echo/v4"

	"hoseward/internal/register"
)

// troubleOf is what keeps the register, or the folder of files, from being read
// or written, with its sentence; nil where err is no such trouble.
func troubleOf(err error) (sentence string, kind error) {
	if sentence, kind = register.Trouble(err); kind != nil {
		return sentence, kind
	}
	for errno, kind := range map[syscall.Errno]error{ // of the folder of files
		syscall.ENOSPC: register.ErrFull, syscall.EDQUOT: register.ErrFull, syscall.EFBIG: register.ErrFull, syscall.EROFS: register.ErrReadOnly,
	} {
		if errors.Is(err, errno) {
			return register.Trouble(kind)
		}
	}
	return "", nil
}

func troubled(err error) bool {
	_, kind := troubleOf(err)
	return kind != nil
}

// trouble is the status and the sentence of a trouble.
func trouble(err error) (status int, sentence string) {
	sentence, kind := troubleOf(err)
	if kind == register.ErrFull {
		return http.StatusInsufficientStorage, sentence
	}
	return http.StatusServiceUnavailable, sentence
}

// retrySeconds is when those who ask again by themselves may do so.
const retrySeconds = "10"

// tellWhenToRetry says in an answer when to ask again, where that may help and
// nobody has said so.
func tellWhenToRetry(r *echo.Response) {
	if (r.Status == http.StatusServiceUnavailable || r.Status == http.StatusInsufficientStorage) && r.Header().Get("Retry-After") == "" {
		r.Header().Set("Retry-After", retrySeconds)
	}
}

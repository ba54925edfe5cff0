package question

import (
	"strings"
	"unicode"

	"github.com/underbough/underbough/inventory"
)

// PhotoBytes is the most that a picture takes.
const PhotoBytes = 25 << 20

// pictures are how files of each type begin; WebP has its own words at the eighth
// byte besides.
var pictures = map[string]string{"image/jpeg": "\xff\xd8\xff", "image/png": "\x89PNG\r\n\x1a\n", "image/webp": "RIFF"}

// CheckPhoto reports what keeps a file from being a job's picture. A type is what
// the file itself says.
func CheckPhoto(p *inventory.Photo) error {
	switch {
	case len(p.Bytes) == 0:
		return inventory.Errorf(inventory.Invalid, "the photo is empty")
	case len(p.Bytes) > PhotoBytes:
		return inventory.Errorf(inventory.Invalid, "the photo has %d bytes: %d are allowed", len(p.Bytes), PhotoBytes)
	case strings.TrimSpace(p.Name) == "" || len(p.Name) > 200 || strings.ContainsFunc(p.Name, unicode.IsControl):
		return inventory.Errorf(inventory.Invalid, "the photo's name %.60q: expected 1 to 200 bytes without control characters", p.Name)
	}
	begin, ok := pictures[p.MediaType]
	if !ok {
		return inventory.Errorf(inventory.Invalid, "the photo is %s: expected image/jpeg, image/png or image/webp", p.MediaType)
	}
	if !strings.HasPrefix(string(p.Bytes[:min(len(p.Bytes), 16)]), begin) || p.MediaType == "image/webp" && (len(p.Bytes) < 12 || string(p.Bytes[8:12]) != "WEBP") {
		return inventory.Errorf(inventory.Invalid, "the photo does not begin as %s does", p.MediaType)
	}
	return nil
}

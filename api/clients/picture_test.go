//go:build clients

package clients_test

import (
	"image"
	"image/png"
	"os"
	"testing"
)

type rgb struct{ r, g, b uint8 }

// canvas is a picture whose pixels are looked at.
type canvas struct{ image.Image }

func picture(t *testing.T, file string) canvas {
	t.Helper()
	f, err := os.Open(file)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	p, err := png.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	return canvas{p}
}

func (c canvas) at(x, y int) rgb {
	r, g, b, _ := c.At(x, y).RGBA()
	return rgb{uint8(r >> 8), uint8(g >> 8), uint8(b >> 8)}
}

// near reports whether two colours are the same but for how a renderer rounds.
func (a rgb) near(b rgb) bool {
	const most = 6
	d := func(x, y uint8) int { return max(int(x)-int(y), int(y)-int(x)) }
	return d(a.r, b.r) <= most && d(a.g, b.g) <= most && d(a.b, b.b) <= most
}

// has reports whether a colour is within so many pixels of a place.
func (c canvas) has(x, y, within int, of ...rgb) bool {
	for dy := -within; dy <= within; dy++ {
		for dx := -within; dx <= within; dx++ {
			for _, w := range of {
				if image.Pt(x+dx, y+dy).In(c.Bounds()) && c.at(x+dx, y+dy).near(w) {
					return true
				}
			}
		}
	}
	return false
}

// count is how many pixels have a colour.
func (c canvas) count(of rgb) (n int) {
	b := c.Bounds()
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			if c.at(x, y).near(of) {
				n++
			}
		}
	}
	return n
}

// differs is how many pixels are other than in another picture of the same size.
func (c canvas) differs(other canvas) (n int) {
	b := c.Bounds()
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			if !c.at(x, y).near(other.at(x, y)) {
				n++
			}
		}
	}
	return n
}

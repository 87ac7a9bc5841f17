package report

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"time"

	"github.com/go-fonts/dejavu/dejavusanscondensed"
	"github.com/go-fonts/dejavu/dejavusanscondensedbold"
	"github.com/go-pdf/fpdf"
	"golang.org/x/image/font/sfnt"
)

// Paper sizes.
const (
	A4     = "a4"
	Letter = "letter"
)

// Lengths on paper are millimetres, type sizes points.
const (
	margin   = 14.0
	foot     = 12.0 // kept free above the lower edge
	mmPerPt  = 25.4 / 72
	small    = 7.0
	normal   = 8.5
	headSize = 10.5
)

// canvas draws one paper. It is drawn twice: the first time to count the pages.
type canvas struct {
	pdf     *fpdf.Fpdf
	w, h    float64
	y       float64 // where the next thing begins
	title   string
	from    string // name of the brewery
	made    string // when, in words
	total   int    // pages, 0 while counting
	missing bool   // a character was replaced
}

// fontFace tells which characters the printed font has.
var fontFace = func() *sfnt.Font {
	f, err := sfnt.Parse(dejavusanscondensed.TTF)
	if err != nil {
		panic("report: the embedded font cannot be read: " + err.Error())
	}
	return f
}()

// paper draws with the function twice and gives the bytes of the PDF.
func paper(size, title, from string, now time.Time, draw func(*canvas)) ([]byte, error) {
	total := 0
	for {
		c, err := newCanvas(size, title, from, now, total)
		if err != nil {
			return nil, err
		}
		c.newPage()
		draw(c)
		if total == 0 {
			total = c.pdf.PageNo()
			continue
		}
		c.note()
		var b bytes.Buffer
		err = c.pdf.Output(&b)
		return b.Bytes(), err
	}
}

func newCanvas(size, title, from string, now time.Time, total int) (*canvas, error) {
	w, h := 210.0, 297.0
	switch size {
	case Letter:
		w, h = 215.9, 279.4
	case A4, "":
	default:
		return nil, wrong("paper", size, "is no paper size known here", "use a4 or letter")
	}
	pdf := fpdf.NewCustom(&fpdf.InitType{OrientationStr: "P", UnitStr: "mm", Size: fpdf.SizeType{Wd: w, Ht: h}})
	pdf.AddUTF8FontFromBytes("body", "", dejavusanscondensed.TTF)
	pdf.AddUTF8FontFromBytes("body", "B", dejavusanscondensedbold.TTF)
	pdf.SetMargins(margin, margin, margin)
	pdf.SetAutoPageBreak(false, 0)
	pdf.SetCellMargin(0)
	pdf.SetCatalogSort(true)
	pdf.SetCreationDate(now)
	pdf.SetModificationDate(now)
	pdf.SetTitle(title, true)
	pdf.SetAuthor(from, true)
	pdf.SetCreator("Ullage", true)
	pdf.SetLineCapStyle("butt")
	return &canvas{pdf: pdf, w: w, h: h, title: title, from: from, made: now.Format("2006-01-02 15:04 MST"), total: total}, nil
}

// newPage begins a page with its head and foot.
func (c *canvas) newPage() {
	c.pdf.AddPage()
	c.font(small, false)
	c.at(margin, margin-4, c.from)
	c.right(c.w-margin, margin-4, c.title)
	c.hair(margin, margin-2.6, c.w-margin, margin-2.6)
	c.at(margin, c.h-7, "made "+c.made+" with Ullage")
	page := fmt.Sprintf("page %d of %d", c.pdf.PageNo(), c.total)
	c.right(c.w-margin, c.h-7, page)
	c.y = margin + 2
}

// room breaks the page unless h mm are left on it.
func (c *canvas) room(h float64) {
	if c.y+h > c.h-foot {
		c.note()
		c.newPage()
	}
}

// note explains the box that stands for a character the font lacks.
func (c *canvas) note() {
	if c.missing {
		c.font(small, false)
		c.middle(c.w/2, c.h-7, "□ stands for a character the printed font lacks; the XLSX and CSV have it")
	}
}

func (c *canvas) font(size float64, bold bool) {
	style := ""
	if bold {
		style = "B"
	}
	c.pdf.SetFont("body", style, size)
}

// clean replaces what the font cannot print, and the control characters.
// Scripts that are written right to left or whose letters join are not set.
func (c *canvas) clean(s string) string {
	var buf sfnt.Buffer
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t' || r == '\r':
			return ' '
		case r < ' ' || r == 0x7f || r == 0x200b || r == 0xfeff || r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069:
			return -1
		case r < 0x7f:
			return r
		}
		if g, err := fontFace.GlyphIndex(&buf, r); err != nil || g == 0 || r > 0xffff || joins(r) {
			c.missing = true
			return '□'
		}
		return r
	}, s)
}

// joins tells Hebrew to Thaana, and the Arabic forms: they need shaping.
func joins(r rune) bool {
	return r >= 0x590 && r <= 0x8ff || r >= 0xfb1d && r <= 0xfdff || r >= 0xfe70 && r <= 0xfeff
}

func (c *canvas) width(s string) float64 { return c.pdf.GetStringWidth(c.clean(s)) }

// at prints with the base line at y.
func (c *canvas) at(x, y float64, s string) {
	if s = c.clean(s); s != "" {
		c.pdf.Text(x, y, s)
	}
}

func (c *canvas) right(x, y float64, s string) { c.at(x-c.width(s), y, s) }
func (c *canvas) middle(x, y float64, s string) {
	c.at(x-c.width(s)/2, y, s)
}

// fit shortens s to a width, with a sign that something is left out.
func (c *canvas) fit(s string, w float64) string {
	if c.width(s) <= w {
		return s
	}
	r := []rune(s)
	for len(r) > 0 && c.width(string(r)+"…") > w {
		r = r[:len(r)-1]
	}
	return string(r) + "…"
}

// lines breaks s to a width, at blanks where there are any.
func (c *canvas) lines(s string, w float64) (out []string) {
	line := ""
	for _, word := range strings.Fields(s) {
		if line != "" && c.width(line+" "+word) <= w {
			line += " " + word
			continue
		}
		if line != "" {
			out = append(out, line)
		}
		for c.width(word) > w && len(word) > 1 {
			r := []rune(word)
			n := len(r) - 1
			for n > 1 && c.width(string(r[:n])) > w {
				n--
			}
			if n == 0 {
				break
			}
			out, word = append(out, string(r[:n])), string(r[n:])
		}
		line = word
	}
	if line != "" || len(out) == 0 {
		out = append(out, line)
	}
	return out
}

func pitch(size float64) float64 { return size * mmPerPt * 1.28 }

// para prints wrapped text and moves on.
func (c *canvas) para(s string, size float64, bold bool) {
	c.font(size, bold)
	for _, l := range c.lines(s, c.w-2*margin) {
		c.room(pitch(size))
		c.font(size, bold)
		c.y += pitch(size)
		c.at(margin, c.y-size*mmPerPt*0.25, l)
	}
}

// heading begins a part, with room for some of it.
func (c *canvas) heading(s string) {
	c.y += 2.2
	c.room(16)
	c.font(headSize, true)
	c.y += pitch(headSize)
	c.at(margin, c.y-1, s)
	c.y += 0.8
}

func (c *canvas) stroke(w float64, grey int, dash ...float64) {
	c.pdf.SetLineWidth(w)
	c.pdf.SetDrawColor(grey, grey, grey)
	c.pdf.SetDashPattern(dash, 0)
}

func (c *canvas) hair(x1, y1, x2, y2 float64) {
	c.stroke(0.12, 60)
	c.pdf.Line(x1, y1, x2, y2)
}

// fact is a label and what is recorded for it.
type fact struct{ label, value string }

// facts prints label and value in columns, each value wrapped, none cut.
func (c *canvas) facts(columns int, list []fact) {
	w := (c.w - 2*margin - 5*float64(columns-1)) / float64(columns)
	const label = 27.0
	for i := 0; i < len(list); i += columns {
		part := list[i:min(i+columns, len(list))]
		c.font(normal, false)
		cells := make([][]string, len(part))
		high := 1
		for k, f := range part {
			cells[k] = c.lines(f.value, w-label)
			high = max(high, len(cells[k]))
		}
		c.room(float64(high) * pitch(normal))
		for k, f := range part {
			x := margin + float64(k)*(w+5)
			c.font(small, false)
			c.at(x, c.y+pitch(normal)-1, c.fit(f.label, label-1))
			c.font(normal, false)
			for n, l := range cells[k] {
				c.at(x+label, c.y+float64(n+1)*pitch(normal)-1, l)
			}
		}
		c.y += float64(high)*pitch(normal) + 0.5
	}
}

// column of a table. Right-aligned for numbers.
type column struct {
	head  string
	w     float64 // share of the width
	right bool
	boxed bool // to be written in by hand
}

// table prints rows with wrapped cells; its head is repeated on each page.
func (c *canvas) table(cols []column, rows [][]string, size, leading float64) {
	var sum float64
	for _, k := range cols {
		sum += k.w
	}
	scale := (c.w - 2*margin) / sum
	c.font(size, true)
	headLines := 1
	for _, k := range cols {
		headLines = max(headLines, len(c.lines(k.head, k.w*scale-1.6)))
	}
	head := func() {
		c.font(size, true)
		x := margin
		for _, k := range cols {
			for n, l := range c.lines(k.head, k.w*scale-1.6) {
				c.cell(k, x, c.y+float64(n+1)*pitch(size)-0.8, k.w*scale, l)
			}
			x += k.w * scale
		}
		c.y += float64(headLines)*pitch(size) + 0.6
		c.stroke(0.3, 0)
		c.pdf.Line(margin, c.y, c.w-margin, c.y)
	}
	c.room(float64(headLines+2)*pitch(size) + leading)
	head()
	for _, row := range rows {
		c.font(size, false)
		high := 1
		cells := make([][]string, len(cols))
		for i, k := range cols {
			cells[i] = c.lines(row[i], k.w*scale-1.6)
			high = max(high, len(cells[i]))
		}
		h := math.Max(float64(high)*pitch(size), leading)
		if c.y+h > c.h-foot {
			c.note()
			c.newPage()
			head()
			c.font(size, false)
		}
		x := margin
		for i, k := range cols {
			for n, l := range cells[i] {
				c.cell(k, x, c.y+h-float64(high-n-1)*pitch(size)-(h-float64(high)*pitch(size))/2-0.8, k.w*scale, l)
			}
			if k.boxed && row[i] == "" {
				c.stroke(0.12, 120)
				c.pdf.Rect(x+0.2, c.y+0.5, k.w*scale-1.2, h-1, "D")
			}
			x += k.w * scale
		}
		c.y += h
		c.stroke(0.08, 150)
		c.pdf.Line(margin, c.y, c.w-margin, c.y)
	}
	c.y += 1
}

func (c *canvas) cell(k column, x, y, w float64, s string) {
	if k.right {
		c.right(x+w-1.6, y, s)
		return
	}
	c.at(x, y, s)
}

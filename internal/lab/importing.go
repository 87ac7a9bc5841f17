package lab

import "fmt"

// Import is one file of old records that was read in: which, how it was read,
// and what became of it. Its records carry "import:" and its id as device_id.
type Import struct {
	Meta
	FileName string        `json:"file_name" maxLength:"200"`
	SHA256   string        `json:"sha256" doc:"of the file, in hexadecimal"`
	Bytes    int64         `json:"bytes"`
	Mapping  ImportMapping `json:"mapping"`
	State    string        `json:"state" enum:"writing,done,undone"`
	Counts   ImportCounts  `json:"counts"`
}

// Kind names the collection.
func (*Import) Kind() Kind { return KindImports }

// Refs is empty: what an import made refers to it, not it to them.
func (*Import) Refs() []Ref { return nil }

func (r *Import) check(c *checker) {
	c.name("file_name", r.FileName)
	c.oneOf("state", r.State, "writing", "done", "undone")
	c.oneOf("mapping.target", r.Mapping.Target, "samples", "format_lots")
	if len(r.SHA256) != 64 {
		c.add("sha256", r.SHA256, "is not a SHA-256 in hexadecimal", "send 64 digits")
	}
}

// DeviceOf is the device_id of what an import writes.
func DeviceOf(importID string) string { return "import:" + importID }

// ImportMapping says how a file is read. Sure lists the questions that a person
// has answered; none is open when a file is written.
type ImportMapping struct {
	Target     string         `json:"target" enum:"samples,format_lots" doc:"what a row is: samples of runs, or formats with their lots"`
	Encoding   string         `json:"encoding,omitempty" enum:"utf-8,utf-16le,utf-16be,windows-1252" doc:"of a CSV file"`
	Separator  string         `json:"separator,omitempty" doc:"between the cells of a CSV file: comma, semicolon or tab"`
	Sheet      string         `json:"sheet,omitempty" doc:"of a workbook"`
	HeaderRow  int            `json:"header_row" doc:"number of the row with the column names, from 1; what stands before it is not read"`
	Decimal    string         `json:"decimal" doc:"the decimal mark of numbers written as text: a point or a comma"`
	DateOrder  string         `json:"date_order" enum:"ymd,dmy,mdy" doc:"of dates written in digits"`
	TimeZone   string         `json:"time_zone" doc:"IANA name: where the clock of the log stood"`
	GroupBy    string         `json:"group_by,omitempty" enum:"code,day" doc:"rows of one run share a run code, or a day; always beer, format and line"`
	Repeats    string         `json:"repeats,omitempty" enum:"keep,skip" doc:"rows that repeat an earlier row exactly"`
	SampleKind string         `json:"sample_kind,omitempty" enum:"shaken,unshaken,inlet" doc:"what the column do is, where no column says it"`
	TareSource string         `json:"tare_source,omitempty" enum:"own,lot" doc:"whether the tare column is each package's own"`
	BeerID     string         `json:"beer_id,omitempty" doc:"for rows that name none"`
	FormatID   string         `json:"format_id,omitempty" doc:"for rows that name none"`
	LineID     string         `json:"line_id,omitempty" doc:"for rows that name none"`
	Columns    []ImportColumn `json:"columns" doc:"one for each column of the file, in its order"`
	Names      []ImportName   `json:"names,omitempty" doc:"what the names in the file stand for"`
	Sure       []string       `json:"sure,omitempty" doc:"ids of the questions that are answered"`
}

// ImportColumn says what a column holds.
type ImportColumn struct {
	Header string `json:"header"`
	Field  string `json:"field,omitempty" doc:"empty: not read"`
	Unit   string `json:"unit,omitempty"`
	Why    string `json:"why,omitempty" doc:"why this was proposed"`
}

// ImportName says which record a name in the file means, or that one is to be made.
type ImportName struct {
	Field       string   `json:"field" enum:"beer,format,line"`
	Text        string   `json:"text"`
	ID          string   `json:"id,omitempty" doc:"the record meant"`
	Create      bool     `json:"create,omitempty" doc:"make it"`
	PackageKind string   `json:"kind,omitempty" enum:"can,bottle,keg" doc:"of a format to make"`
	NominalML   *float64 `json:"nominal_ml,omitempty" doc:"of a format to make"`
	Heads       int      `json:"heads,omitempty" doc:"of a line to make"`
}

// ImportCounts counts rows of a file and the records made of them.
type ImportCounts struct {
	Rows      int `json:"rows" doc:"rows with something in them, below the header"`
	Faulty    int `json:"faulty" doc:"rows left out, with a fault each"`
	Odd       int `json:"odd" doc:"rows read in that are odd"`
	Repeated  int `json:"repeated" doc:"rows that repeat an earlier row exactly"`
	Runs      int `json:"runs"`
	Samples   int `json:"samples"`
	Formats   int `json:"formats"`
	Lots      int `json:"format_lots"`
	Created   int `json:"created" doc:"records written that were not there"`
	Revived   int `json:"revived" doc:"records taken back that an undo had archived"`
	Unchanged int `json:"unchanged" doc:"records that were there already, with the same content"`
	Refused   int `json:"refused" doc:"records that the database did not take, with a fault each"`
	Archived  int `json:"archived" doc:"records that an undo archived"`
	Kept      int `json:"kept" doc:"records that an undo left, because others use them"`
}

// ImportFault is what is wrong, or with odd only strange, in one cell or row.
type ImportFault struct {
	File    string `json:"file"`
	Row     int    `json:"row" doc:"line of a CSV file, row of a sheet"`
	Column  string `json:"column,omitempty" doc:"as the file names it"`
	Field   string `json:"field,omitempty"`
	Value   string `json:"value,omitempty"`
	Message string `json:"message"`
	Mend    string `json:"mend,omitempty"`
	Odd     bool   `json:"odd,omitempty" doc:"the row is read in nevertheless"`
}

func (f ImportFault) Error() string {
	return fmt.Sprintf("%s:%d: %s %q %s; %s", f.File, f.Row, f.Column, f.Value, f.Message, f.Mend)
}

// ImportChoice is one answer to a question.
type ImportChoice struct {
	Value string `json:"value"`
	Label string `json:"label"`
}

// ImportQuestion is what the file leaves open. Proposed is in the mapping until
// another is chosen; the answer counts once the id is in sure.
type ImportQuestion struct {
	ID       string         `json:"id"`
	Column   int            `json:"column" doc:"index of the column asked about; -1: the whole file"`
	Text     string         `json:"text"`
	Why      string         `json:"why,omitempty"`
	Choices  []ImportChoice `json:"choices,omitempty"`
	Proposed string         `json:"proposed,omitempty"`
}

// ImportRow is a row as the file has it, and as it is read.
type ImportRow struct {
	Row    int           `json:"row"`
	Cells  []string      `json:"cells"`
	Read   []string      `json:"read" doc:"what each cell becomes, with its unit; empty: not read"`
	Faults []ImportFault `json:"faults,omitempty"`
}

// ImportSame counts the rows that share a fault.
type ImportSame struct {
	Field   string `json:"field,omitempty"`
	Message string `json:"message"`
	Mend    string `json:"mend,omitempty"`
	Odd     bool   `json:"odd,omitempty"`
	Rows    int    `json:"rows"`
	First   int    `json:"first_row"`
	Value   string `json:"first_value,omitempty"`
}

// ImportUnknown is a name of the file that stands for no record yet.
type ImportUnknown struct {
	Field   string     `json:"field" enum:"beer,format,line"`
	Text    string     `json:"text"`
	Rows    int        `json:"rows"`
	Propose ImportName `json:"propose" doc:"what a new record would hold, guessed from the name"`
}

// ImportRun is a run as the file's rows make it.
type ImportRun struct {
	Code      string `json:"code,omitempty"`
	Beer      string `json:"beer"`
	Format    string `json:"format"`
	Line      string `json:"line"`
	StartedAt Time   `json:"started_at"`
	EndedAt   Time   `json:"ended_at"`
	Samples   int    `json:"samples"`
}

// ImportPreview is a whole file read under a mapping; nothing is written.
type ImportPreview struct {
	Mapping     ImportMapping    `json:"mapping"`
	Questions   []ImportQuestion `json:"questions" doc:"open ones; none may be left to write the file"`
	Assumptions []string         `json:"assumptions" doc:"what is taken for granted"`
	Counts      ImportCounts     `json:"counts"`
	Rows        []ImportRow      `json:"rows" doc:"the first ones"`
	Faults      []ImportFault    `json:"faults" doc:"the first 200"`
	Same        []ImportSame     `json:"same" doc:"all faults, counted by kind"`
	Unknown     []ImportUnknown  `json:"unknown" doc:"names that stand for no record"`
	Runs        []ImportRun      `json:"runs" doc:"the first 50"`
	Before      *ImportBefore    `json:"before,omitempty" doc:"this file was imported before"`
}

// ImportBefore points at an earlier import of the same file.
type ImportBefore struct {
	ID          string `json:"id"`
	At          Time   `json:"at"`
	By          string `json:"by,omitempty"`
	SameMapping bool   `json:"same_mapping"`
	State       string `json:"state"`
}

// ImportUpload is a file that was received and waits.
type ImportUpload struct {
	ID       string        `json:"id"`
	FileName string        `json:"file_name"`
	Bytes    int64         `json:"bytes"`
	SHA256   string        `json:"sha256"`
	Workbook bool          `json:"workbook"`
	Sheets   []string      `json:"sheets,omitempty"`
	Fields   []ImportField `json:"fields" doc:"what a column can be, with its units"`
	Preview  ImportPreview `json:"preview" doc:"with the proposed mapping"`
}

// ImportField is something a column can hold.
type ImportField struct {
	Target string   `json:"target"`
	Field  string   `json:"field"`
	Name   string   `json:"name"`
	Units  []string `json:"units,omitempty"`
}

// ImportProgress tells how far the writing, or the undoing, of an import is.
type ImportProgress struct {
	ImportID string        `json:"import_id"`
	Doing    string        `json:"doing" enum:"reading,writing,undoing,done,failed"`
	Done     int           `json:"done"`
	Total    int           `json:"total"`
	Counts   ImportCounts  `json:"counts"`
	Faults   []ImportFault `json:"faults,omitempty" doc:"of records that the database refused; the first 200"`
	Failure  string        `json:"failure,omitempty"`
}

package lab

// Meta is what every record has. Fields marked read-only are the server's: a
// value sent by a client is ignored.
type Meta struct {
	ID       string `json:"id" format:"uuid" doc:"UUIDv7, made where the record is made"`
	Rev      int    `json:"rev,omitempty" readOnly:"true" doc:"1 for the first revision; given by the server"`
	By       string `json:"by,omitempty" maxLength:"200" doc:"who wrote this revision: id of a person, or a name"`
	SaidBy   string `json:"said_by,omitempty" readOnly:"true" doc:"who the device said wrote it, where that is not who was signed in" maxLength:"200"`
	DeviceID string `json:"device_id,omitempty" maxLength:"200" doc:"which device wrote it"`
	DeviceAt Time   `json:"device_at,omitzero" doc:"when it was written, by the device's clock"`
	ServerAt Time   `json:"server_at,omitzero" readOnly:"true" doc:"when the server stored it, by the server's clock"`
	// SkewS is kept because a device whose clock is wrong dates its samples wrong.
	SkewS    *float64 `json:"clock_skew_s,omitempty" readOnly:"true" doc:"device clock minus server clock at sending, in seconds"`
	Reason   string   `json:"reason,omitempty" maxLength:"2000" doc:"why this revision was made; needed to correct a sample"`
	Archived bool     `json:"archived,omitempty" doc:"no longer in use; nothing is ever deleted"`
}

// Base gives the common fields.
func (m *Meta) Base() *Meta { return m }

// Warning is something odd about a value that was stored nevertheless.
type Warning struct {
	Field   string `json:"field"`
	Value   any    `json:"value,omitempty"`
	Message string `json:"message"`
	Mend    string `json:"mend,omitempty"`
}

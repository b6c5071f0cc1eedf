"""The part in the browser: what `viewer.js` draws, and the three.js that it is handed."""

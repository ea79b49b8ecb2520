// Plays without having been asked to, and tells the server what comes of it: see listen-measure.mjs.
import { api } from '../common/api.js'
import { createListener } from '../listen/listen.js'

const listener = createListener({ api })
listener.load('apart', { length: 60 })
listener.play()
setInterval(() => void fetch('/says?state=' + encodeURIComponent(JSON.stringify({ ...listener.state, time: listener.time() }))), 100)

import './style/look.css'
import './style/frame.css'
import './style/parts.css'
import './style/map.css'
import { render } from 'preact'
import { App } from './app'
import './ask/register'
import './others'
import { keepAddress } from './state/store'
import { keepAnswer } from './answer/answer'

keepAddress()
keepAnswer()
render(<App />, document.getElementById('app')!)

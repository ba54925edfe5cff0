import { register } from '../views'
import { AskView } from './view'

register({ id: 'ask', title: 'Ask', component: AskView, order: 10 })
